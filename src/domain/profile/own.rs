//! The shop's own settings over its profile: which there are, in what range, and which way is looser. A looser value counts only with a
//! note of who validated it and on what ground, and then stands among the rules for all to see.

mod table;

use super::{OwnSetting, Rules};
use table::SETTINGS;

/// A value as the shop wrote it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Written {
    Number(i64),
    Word(String),
}

/// One setting of the shop: its name, the value, and for a looser one the ground.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    pub name: String,
    pub value: Written,
    pub validated: Option<String>,
}

/// A setting that cannot be: its name and what must be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    pub name: String,
    pub must: String,
}

/// Longest note on who validated a value.
const LONGEST_NOTE: usize = 400;

/// Names of all settings, in the order of the table.
pub fn names() -> impl Iterator<Item = &'static str> {
    SETTINGS.iter().map(|setting| setting.name)
}

/// Every setting as these rules have it, in the words of the settings file.
pub fn in_words(rules: &Rules) -> impl Iterator<Item = (&'static str, String)> {
    SETTINGS.iter().map(|setting| (setting.name, setting.form.write((setting.get)(rules))))
}

impl Rules {
    /// A profile with the shop's own settings over it, or everything that is wrong with them.
    pub fn with_own(mut self, wishes: &[Wish]) -> Result<Rules, Vec<Refused>> {
        let mut refused = Vec::new();
        for wish in wishes {
            if let Err(must) = self.grant(wish) {
                refused.push(Refused { name: wish.name.clone(), must });
            }
        }
        if refused.is_empty() { Ok(self) } else { Err(refused) }
    }

    fn grant(&mut self, wish: &Wish) -> Result<(), String> {
        let setting = SETTINGS
            .iter()
            .find(|setting| setting.name == wish.name)
            .ok_or_else(|| format!("unknown key; known are {}", names().collect::<Vec<_>>().join(", ")))?;
        if self.own.iter().any(|own| own.name == setting.name) {
            return Err("stands twice".into());
        }
        let value = setting.form.read(&wish.value).ok_or_else(|| setting.form.must())?;
        let profile_value = (setting.get)(self);
        let looser = setting.looser.is_looser(value, profile_value);
        let ground = wish.validated.as_deref().map(str::trim);
        match ground {
            None if looser => {
                let profile = setting.form.write(profile_value);
                let jurisdiction = self.jurisdiction.as_str();
                return Err(format!(
                    "looser than the profile \"{jurisdiction}\", which has {profile}; a looser value must say who validated it and on what \
                     ground: {} = {{ value = …, validated = \"…\" }}",
                    setting.name
                ));
            }
            Some(note)
                if note.is_empty() || note.chars().count() > LONGEST_NOTE || note.chars().any(char::is_control) =>
            {
                return Err(format!(
                    "validated must say who validated the value and on what ground, in 1 to {LONGEST_NOTE} characters"
                ));
            }
            _ => {}
        }
        (setting.put)(self, value);
        if value != profile_value {
            self.own.push(OwnSetting {
                name: setting.name,
                value: setting.form.write(value),
                profile_value: setting.form.write(profile_value),
                validated: ground.filter(|_| looser).map(str::to_owned),
            });
        }
        Ok(())
    }
}
