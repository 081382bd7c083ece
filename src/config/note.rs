//! What is in force of one key, and where it comes from.

use super::raw::Place;

/// What is in force of one key.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Note {
    /// Key and value as TOML; a value that follows from elsewhere as a comment with its origin. Secrets stand
    /// there by their path only.
    pub line: String,
    /// Where the value comes from.
    pub origin: Origin,
}

/// Where a value comes from.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Origin {
    /// It was set there.
    Set(Place),
    /// Nobody set it.
    Default,
    /// It follows from elsewhere, as its line says in English; `None` where that is not told apart.
    Follows(Option<Whence>),
}

/// From what a value follows that nobody set.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Whence {
    /// The computer that the program runs on.
    ThisComputer,
    /// The path of the ledger.
    BesideTheLedger,
    /// The register of well-known ports.
    Iana,
    /// The name of the source.
    Source,
    /// The name of the site.
    Site,
    /// What is usual for such a machine.
    CommonPractice,
    /// The FDA Food Code.
    FoodCode,
    /// The rinse of the data plate.
    HalfTheRinse,
    /// The speed of the line.
    BaudRate,
}

impl Whence {
    /// As it stands in the line, and on record.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::ThisComputer => "this computer",
            Self::BesideTheLedger => "beside the ledger",
            Self::Iana => "registered with IANA",
            Self::Source => "name of the source",
            Self::Site => "name of the site",
            Self::CommonPractice => "common-practice",
            Self::FoodCode => "food-code",
            Self::HalfTheRinse => "half the rinse",
            Self::BaudRate => "of the baud rate",
        }
    }
}

/// A section of the configuration in force.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Section {
    /// Its header as TOML, such as `[[machine]]`.
    pub header: String,
    /// Its keys in order.
    pub notes: Vec<Note>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::resolve::Configuration;

    // Own promise: whoever looks at a value is told the line or the variable that set it, also where one
    // lies over the other; a secret's bytes are not there.
    #[test]
    fn each_value_says_where_it_comes_from() {
        let directory = tempfile::tempdir().expect("a directory");
        let path = directory.path().join("gateway.toml");
        let text = "[site]\nname = \"one\"\n[[machine]]\nname = \"dm1\"\n\
                    kind = \"stationary-rack-dual-temperature\"\nprobes = [\"rinse\"]\n";
        std::fs::write(&path, text).expect("a temporary file");
        let variables = [("RINSEWARD__SITE__CALL".to_owned(), "Acme".to_owned())];
        let loaded =
            Configuration::load(std::slice::from_ref(&path), variables).expect("a sound configuration");
        let found = |header: &str, key: &str| {
            let section =
                loaded.sections().iter().find(|section| section.header == header).expect("a section");
            let begins = |note: &&Note| note.line.trim_start_matches("# ").starts_with(&format!("{key} = "));
            section
                .notes
                .iter()
                .find(begins)
                .unwrap_or_else(|| panic!("no {key}: {section:?}"))
                .origin
                .clone()
        };
        let line = |line| Origin::Set(Place::Line { file: path.clone(), line });
        for (header, key, expected) in [
            ("[site]", "name", line(2)),
            ("[site]", "call", Origin::Set(Place::Variable("RINSEWARD__SITE__CALL".to_owned()))),
            ("[[machine]]", "kind", line(5)),
            ("[ledger]", "commit-interval", Origin::Default),
            ("[service]", "socket", Origin::Follows(Some(Whence::BesideTheLedger))),
            ("[[probe]]", "accuracy.installation", Origin::Default),
            ("[[probe]]", "accuracy.sensor", Origin::Default),
        ] {
            assert_eq!(found(header, key), expected, "{header} {key}");
        }
        let lines = loaded.sections().iter().flat_map(|section| {
            std::iter::once(section.header.clone()).chain(section.notes.iter().map(|note| note.line.clone()))
        });
        let all: Vec<String> = lines.collect();
        let text: Vec<&str> = loaded.to_toml().lines().filter(|line| !line.is_empty()).collect();
        assert_eq!(all, text, "the same as goes on record");
    }
}
