//! What a label said when it was issued, word for word, as text to be kept: a label is a document, and drawing it again must not say more, or
//! anything else, than what is on the tray.

use crate::domain::label_fields::{Circumstances, Field, Pack, Sold, Template, Thawed, rules};
use crate::domain::lot::Production;
use crate::domain::shop::Jurisdiction;
use crate::labels::facts::{Captions, TrayLabel};
use crate::ops::failure::Failure;
use crate::store::error::StoreError;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// The texts of one label, and what its rules depend on.
#[derive(Debug, Serialize, Deserialize)]
struct Record {
    law: String,
    wild: bool,
    thawed: String,
    by_weight: bool,
    small_pack: bool,
    use_by_caption: String,
    fields: BTreeMap<String, String>,
}

const THAWED: [(Thawed, &str); 3] =
    [(Thawed::No, "no"), (Thawed::Defrosted, "defrosted"), (Thawed::FrozenForSafety, "frozen_for_safety")];

/// A label that says nothing yet, with the rules it must keep.
pub fn blank(law: Jurisdiction, template: Template, on: Circumstances, use_by_caption: &str) -> TrayLabel {
    let captions = Captions { use_by: use_by_caption.to_owned(), ..Captions::default() };
    TrayLabel::new(template, rules(law, template, on), captions)
}

/// The text that is kept of a label.
pub fn write(law: Jurisdiction, on: Circumstances, label: &TrayLabel) -> Result<String, Failure> {
    let said = Field::ALL.iter().map(|field| (field.as_str().to_owned(), label.text(*field).to_owned()));
    let record = Record {
        law: law.as_str().to_owned(),
        wild: on.production == Production::Wild,
        thawed: THAWED.iter().find(|(thawed, _)| *thawed == on.thawed).map_or("no", |(_, word)| *word).to_owned(),
        by_weight: on.sold == Sold::ByWeight,
        small_pack: on.pack == Pack::Small,
        use_by_caption: label.captions.use_by.clone(),
        fields: said.filter(|(_, text)| !text.is_empty()).collect(),
    };
    serde_json::to_string(&record).map_err(|error| StoreError::impossible("record of a label", error).into())
}

/// The label that was issued.
pub fn read(template: Template, text: &str) -> Result<TrayLabel, Failure> {
    let unreadable = || StoreError::impossible("record of a label", text.chars().take(80).collect::<String>());
    let record: Record = serde_json::from_str(text).map_err(|_| unreadable())?;
    let law = Jurisdiction::parse(&record.law).ok_or_else(unreadable)?;
    let thawed = THAWED.iter().find(|(_, word)| *word == record.thawed).ok_or_else(unreadable)?;
    let on = Circumstances {
        production: if record.wild { Production::Wild } else { Production::Farmed },
        thawed: thawed.0,
        pack: if record.small_pack { Pack::Small } else { Pack::Usual },
        sold: if record.by_weight { Sold::ByWeight } else { Sold::Whole },
    };
    let mut label = blank(law, template, on, &record.use_by_caption);
    for field in Field::ALL {
        label = label.with(*field, record.fields.get(field.as_str()).map_or("", String::as_str));
    }
    Ok(label)
}
