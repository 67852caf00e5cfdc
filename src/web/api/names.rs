//! Names of species and cuts in other languages, as both resources say them.

use crate::domain::catalogue::Names;
use crate::domain::language::Language;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Names by language; absent ones are not there.
#[derive(Debug, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OtherNames {
    /// English, where the shop's own names are in another language.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "Yellowfin tuna")]
    pub en: Option<String>,
    /// Japanese.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(example = "キハダ")]
    pub ja: Option<String>,
}

impl From<Names> for OtherNames {
    fn from(names: Names) -> OtherNames {
        let name = |language| names.get(language).map(ToOwned::to_owned);
        OtherNames { en: name(Language::English), ja: name(Language::Japanese) }
    }
}

impl From<OtherNames> for BTreeMap<Language, String> {
    fn from(names: OtherNames) -> BTreeMap<Language, String> {
        let both = [(Language::English, names.en), (Language::Japanese, names.ja)];
        both.into_iter().filter_map(|(language, name)| Some((language, name?))).collect()
    }
}
