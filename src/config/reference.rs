//! `config/reference.toml`: every key with its meaning, form, range and default,
//! printed from the table in [`super::keys`].

use super::keys::{
    ALERT, CONTACT, Default, Form, HEARTBEAT, Key, LEDGER, MACHINE, MAIL, MEAL_PERIOD, MODBUS,
    MODBUS_REGISTER, MODBUS_RTU, MODBUS_TCP, MODBUS_UNIT, MQTT, PROBE, PUBLISH, REPLAY, SERIAL, SERIES,
    SERVICE, SHIFT, SITE, SOURCE, WEB, WEBHOOK,
};

/// Width at which comments are broken.
const WIDTH: usize = 96;

/// The text of the reference: a file that loads, with every key that needs no
/// value commented out.
#[must_use]
pub fn render() -> String {
    let mut out = Reference { text: String::new() };
    out.comment(
        "Every key of the configuration. A line without # must be given; a line with # shows the default, or an \
         example where nothing is the default. Units stand in the values. Unknown keys are refused.",
    );
    out.comment(
        "Files are laid over one another in the order of the command line, the later wins; entries of [[machine]], \
         [[probe]], [[source]], [[contact]], [[shift]], [[meal-period]] and [[webhook]] are merged by name. Variables win over files: \
         RINSEWARD__LEDGER__COMMIT_INTERVAL=2s, RINSEWARD__PROBE__DM1_RINSE__TAU=1.5s. A relative path counts from \
         the directory of the file that names it.",
    );
    out.comment(
        "This file is printed from the program (UPDATE_GOLDEN=1 cargo test reference); edit src/config/keys there.",
    );
    out.section("[site]", "The site.", &SITE, &[]);
    out.section("[ledger]", "Where the record is kept.", &LEDGER, &[]);
    out.section("[service]", "How commands reach the running service.", &SERVICE, &[]);
    out.section(
        "[web]",
        "The pages behind the links of messages. What is sent over them unencrypted can be read and changed by \
         others on the network: put a proxy with TLS before them.",
        &WEB,
        &[],
    );
    out.section("[[machine]]", "One dish machine; repeat for each.", &MACHINE, &[]);
    out.section("[[probe]]", "One probe or signal; repeat for each.", &PROBE, &[("name", "\"dm1/rinse\"")]);
    out.sources();
    out.section(
        "[series]",
        "Where time series go: a server that takes the write API of InfluxDB 2. Without this section none are sent.",
        &SERIES,
        &[],
    );
    out.section(
        "[[contact]]",
        "Somebody who is told of alerts; repeat for each. Without any, alerts are recorded and nobody is told.",
        &CONTACT,
        &[],
    );
    out.section("[alert]", "What raises an alert, and how it is told.", &ALERT, &[]);
    out.section("[[shift]]", "A shift; repeat for each.", &SHIFT, &[]);
    out.section("[[meal-period]]", "A meal period; repeat for each.", &MEAL_PERIOD, &[]);
    out.section(
        "[mail]",
        "The mail server that takes messages; leave the section out and no mail is sent.",
        &MAIL,
        &[],
    );
    out.section("[[webhook]]", "A receiver of events over HTTP; repeat for each.", &WEBHOOK, &[]);
    out.section(
        "[publish]",
        "A broker at which events and the state of each machine are published; leave the section out and nothing is.",
        &PUBLISH,
        &[],
    );
    out.section(
        "[heartbeat]",
        "Signs of life for an outside watcher, since a dead gateway cannot complain; leave the section out and none \
         is given.",
        &HEARTBEAT,
        &[],
    );
    out.text
}

struct Reference {
    text: String,
}

impl Reference {
    fn section(&mut self, header: &str, about: &str, keys: &[Key], examples: &[(&str, &str)]) {
        self.blank();
        self.comment(about);
        self.line(header);
        self.keys(keys, examples);
    }

    /// `[[source]]`, once for each kind.
    fn sources(&mut self) {
        self.section(
            "[[source]]",
            "A serial port that prints lines. Plug and unplug low-voltage signal leads only; mains wiring is for a \
             licensed electrician.",
            &SOURCE,
            &[],
        );
        self.keys(&SERIAL, &[]);
        self.section(
            "[[source]]",
            "Modbus units on a serial line (RS-485); name, kind and probes as above. The line is low voltage; mains \
             wiring inside a cabinet is for a licensed electrician.",
            &SOURCE,
            &[("name", "\"bus\""), ("kind", "\"modbus-rtu\"")],
        );
        self.keys(&MODBUS_RTU, &[]);
        self.keys(&MODBUS, &[]);
        self.section(
            "[[source]]",
            "Modbus units over TCP; name, kind and probes as above, units and registers as on a line. It is neither \
             encrypted nor protected: keep it on a network of its own.",
            &SOURCE,
            &[("name", "\"bus-tcp\""), ("kind", "\"modbus-tcp\"")],
        );
        self.keys(&MODBUS_TCP, &[]);
        self.blank();
        self.comment("Units and registers as above.");
        self.line("[[source.unit]]");
        self.required(&MODBUS_UNIT);
        self.line("[[source.unit.register]]");
        self.required(&MODBUS_REGISTER);
        self.section(
            "[[source]]",
            "An MQTT broker; name, kind and probes as above.",
            &SOURCE,
            &[("name", "\"broker\""), ("kind", "\"mqtt\"")],
        );
        self.keys(&MQTT, &[]);
        self.section(
            "[[source]]",
            "A file or standard input; name, kind and probes as above.",
            &SOURCE,
            &[("name", "\"file\""), ("kind", "\"replay\"")],
        );
        self.keys(&REPLAY, &[]);
    }

    fn keys(&mut self, keys: &[Key], examples: &[(&str, &str)]) {
        self.keys_below("source", keys, examples);
    }

    /// Keys of a list of tables at this path.
    fn keys_below(&mut self, path: &str, keys: &[Key], examples: &[(&str, &str)]) {
        for key in keys {
            let example = examples.iter().find(|(name, _)| *name == key.name).map(|(_, example)| *example);
            self.key(path, key, example);
        }
    }

    /// The keys that must be given, without a word, where they were told before.
    fn required(&mut self, keys: &[Key]) {
        for key in keys.iter().filter(|key| key.default == Default::Required && !key.example.is_empty()) {
            self.value(key, key.name, None);
        }
    }

    fn key(&mut self, path: &str, key: &Key, example: Option<&str>) {
        self.blank();
        self.comment(key.meaning);
        match key.form {
            Form::Table(keys) => {
                self.default(key);
                self.inner(key.name, keys);
            }
            Form::Tables(keys) => {
                self.default(key);
                let path = format!("{path}.{}", key.name);
                self.line(&format!("[[{path}]]"));
                self.keys_below(&path, keys, &[]);
            }
            Form::Text
            | Form::Path
            | Form::Secret
            | Form::Secrets
            | Form::Flag
            | Form::Integer { .. }
            | Form::Number { .. }
            | Form::Duration { .. }
            | Form::DurationOrOff { .. }
            | Form::Temperature { .. }
            | Form::Difference { .. }
            | Form::Choice(_)
            | Form::Names
            | Form::Register
            | Form::Values
            | Form::Hours
            | Form::Date
            | Form::Time => {
                self.comment(&format!("Form: {}.", key.form));
                self.default(key);
                self.value(key, key.name, example);
            }
        }
    }

    /// Keys of an optional table, as dotted keys.
    fn inner(&mut self, table: &str, keys: &[Key]) {
        for key in keys {
            self.comment("");
            self.comment(key.meaning);
            self.comment(&format!("Form: {}.", key.form));
            self.default(key);
            self.value(key, &format!("{table}.{}", key.name), None);
        }
    }

    fn default(&mut self, key: &Key) {
        match key.default {
            Default::Required => self.comment("Required."),
            Default::Value(value) => self.comment(&format!("Default: {value}.")),
            Default::Follows(words) | Default::Absent(words) => self.comment(&format!("Default: {words}.")),
        }
    }

    fn value(&mut self, key: &Key, name: &str, example: Option<&str>) {
        let example = example.unwrap_or(key.example);
        match (key.default, key.form) {
            (Default::Required, _) => self.line(&format!("{name} = {example}")),
            (Default::Value(value), Form::Integer { .. } | Form::Number { .. } | Form::Flag) => {
                self.line(&format!("# {name} = {value}"));
            }
            (Default::Value(value), _) => self.line(&format!("# {name} = \"{value}\"")),
            (Default::Follows(_) | Default::Absent(_), _) => self.line(&format!("# {name} = {example}")),
        }
    }

    /// A paragraph of comment, broken at [`WIDTH`].
    fn comment(&mut self, paragraph: &str) {
        let mut line = String::from("#");
        for word in paragraph.split_whitespace() {
            if line.chars().count() + 1 + word.chars().count() > WIDTH {
                self.line(&line);
                line = String::from("#");
            }
            line.push(' ');
            line.push_str(word);
        }
        self.line(&line);
    }

    fn blank(&mut self) {
        self.line("");
    }

    fn line(&mut self, line: &str) {
        self.text.push_str(line);
        self.text.push('\n');
    }
}
