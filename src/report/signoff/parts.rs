//! The parts of a sheet, each from the record and what it names.

use super::points::{finding, found, of_verdict, point};
use super::{Block, Section, Words, lines, plain};
use crate::core::channel::Place;
use crate::core::cycle::strength::OffRange;
use crate::core::record::{
    Basis, CalibrationDone, CalibrationPoint, Correction, Cycle, ProvenProbe, SignedProbe, TestCycle,
};
use crate::core::signoff::chemistry::measures;
use crate::core::technician::words::{correction as correction_of, signed};
use crate::report::pdf::words::Word;
use crate::report::plot::{self, Size};

/// Size of the trace on paper, px: as wide as the text, low enough for one page in all.
const PLOT: Size = Size { width: 640, height: 252 };

impl Words<'_> {
    /// What is open.
    pub(super) fn state(&self) -> Section {
        let points = &self.facts.signed.open_points;
        let blocks = if points.is_empty() {
            vec![Block::Text(self.say("None.", "Ninguno.").to_owned())]
        } else {
            let framed = match (self.facts.record.is_some(), points.len()) {
                (true, 1) => self.say(
                    "One point was open. Whoever signed knew and accepted it:",
                    "Un punto quedaba abierto. Quien firmó lo conocía y lo aceptó:",
                ),
                (true, _) => self.say(
                    "These points were open. Whoever signed knew and accepted them:",
                    "Estos puntos quedaban abiertos. Quien firmó los conocía y los aceptó:",
                ),
                (false, _) => self.say("Still open:", "Aún abierto:"),
            };
            let each = points.iter().map(|open| point(open, self.reader())).collect();
            vec![Block::Framed(framed.to_owned()), Block::List(each)]
        };
        self.section("Open points", "Puntos abiertos", blocks)
    }

    /// What the data plate says.
    pub(super) fn machine(&self) -> Section {
        let plate = &self.facts.signed.plate;
        let limit = |celsius: f64, source| {
            format!("{} ({})", self.reader().temperature(celsius), self.teller.source(source))
        };
        let seconds = |seconds: f64| format!("{seconds:.1} s");
        let mut rows = vec![
            self.row("Kind", "Tipo", self.teller.kind(plate.kind).to_owned()),
            self.row("Sanitized by", "Desinfección", self.teller.method(plate.sanitizing).to_owned()),
            self.row(
                "Final rinse at least",
                "Enjuague final, mínimo",
                limit(plate.rinse_limit_c, plate.rinse_limit_source),
            ),
        ];
        if let Some(max_c) = plate.rinse_max_c {
            let most = self.reader().temperature(max_c);
            rows.push(self.row("Final rinse at most", "Enjuague final, máximo", most));
        }
        let times = format!(
            "{} {} · {} {} · {} {}",
            self.say("wash", "lavado"),
            seconds(plate.wash_s),
            self.say("pause", "pausa"),
            seconds(plate.pause_s),
            self.say("final rinse", "enjuague final"),
            seconds(plate.rinse_s)
        );
        rows.extend([
            self.row("Wash at least", "Lavado, mínimo", limit(plate.wash_limit_c, plate.wash_limit_source)),
            self.row("Times", "Tiempos", times),
            self.row("Limit to be held for", "Tiempo sobre el límite", seconds(plate.dwell_s)),
        ]);
        let chemistry = plate.chemistry.iter().flat_map(|chemistry| chemistry.limits(self.reader()));
        rows.extend(chemistry.map(|(name, told)| self.row(name, name, told)));
        self.section("Machine", "Máquina", vec![Block::Rows(rows)])
    }

    /// Each probe.
    pub(super) fn probes(&self) -> Section {
        let heads = [
            self.say("Probe", "Sonda"),
            self.say("Place and signal", "Lugar y señal"),
            self.say("Calibration", "Calibración"),
            self.say("Holds until", "Vale hasta"),
            self.say("U (k = 2)", "U (k = 2)"),
            self.say("Time constant", "Constante de tiempo"),
        ];
        let rows = self.facts.signed.probes.iter().map(|probe| {
            let reader = self.reader();
            let until = probe.until.as_deref().map_or_else(|| "–".to_owned(), plain);
            let wide = format!("±{} {}", self.difference(probe.expanded_c), self.say("at", "a"));
            vec![
                plain(&probe.probe),
                format!("{}; {}", self.place(probe.place), self.signal(&probe.signal)),
                self.calibration(probe),
                until,
                format!("{wide} {}", reader.temperature(probe.near_c)),
                self.tau(probe),
            ]
        });
        let chemistry = self.facts.signed.plate.chemistry.iter();
        let solutions = chemistry.flat_map(|chemistry| &chemistry.channels).map(|own| {
            let none = || "–".to_owned();
            let what = measures(own.solution, self.reader().language).to_owned();
            vec![plain(&own.channel), what, none(), none(), none(), none()]
        });
        let rows = rows.chain(solutions).collect();
        let heads = heads.map(str::to_owned).to_vec();
        self.section("Probes", "Sondas", vec![Block::Table { heads, rows }])
    }

    /// A difference, to two digits, without a sign.
    fn difference(&self, kelvin: f64) -> String {
        let scale = self.reader().scale;
        format!("{:.2} {}", scale.difference(kelvin).abs(), scale.symbol())
    }

    const fn place(&self, place: Place) -> &'static str {
        match place {
            Place::WashTank => self.say("wash tank", "tanque de lavado"),
            Place::FinalRinse => self.say("final rinse", "enjuague final"),
            Place::Ware => self.say("ware", "vajilla"),
            Place::Other => self.say("other", "otro"),
        }
    }

    /// A scale that is the device's own, whichever the reader reads.
    fn sent(&self, unit: &str) -> String {
        format!("{} {unit}", self.say("the device sends", "el aparato envía"))
    }

    fn signal(&self, signal: &str) -> String {
        match signal {
            "celsius" => self.sent("°C"),
            "fahrenheit" => self.sent("°F"),
            "kelvin" => self.sent("K"),
            "pt100" => "Pt100".to_owned(),
            other => match other.strip_prefix("thermocouple ") {
                Some(letter) => format!("{} {}", self.say("thermocouple", "termopar"), plain(letter)),
                None => plain(other),
            },
        }
    }

    fn calibration(&self, probe: &SignedProbe) -> String {
        let on_record = probe.calibration.and_then(|record| {
            self.facts.calibrations.get(&record).map(|done| self.calibrated(record, done))
        });
        let correction = probe.correction.map(|correction| self.correction(correction));
        match (on_record, probe.calibration, correction) {
            (Some(calibrated), _, _) => calibrated,
            (None, Some(record), _) => {
                format!("{} {record} ({})", self.say("record", "asiento"), self.unread())
            }
            (None, None, correction) => {
                let of = probe.calibrated_on.as_deref().map(|day| format!(" ({})", plain(day)));
                let none = self.say("none on record", "no consta");
                match (correction, of) {
                    (None, None) => self.say("NOT CALIBRATED", "SIN CALIBRAR").to_owned(),
                    (correction, of) => format!(
                        "{}{}: {}; {none}",
                        self.say("as configured", "según la configuración"),
                        of.unwrap_or_default(),
                        correction.unwrap_or_else(|| self.say("no correction", "sin corrección").to_owned()),
                    ),
                }
            }
        }
    }

    const fn unread(&self) -> &'static str {
        self.say("cannot be read", "no se puede leer")
    }

    fn calibrated(&self, record: u64, done: &CalibrationDone) -> String {
        let scale = self.reader().scale;
        let worst = |error: fn(&CalibrationPoint) -> f64| {
            let worst = done.points.iter().map(error).max_by(|a, b| a.abs().total_cmp(&b.abs()));
            worst.map_or_else(|| "–".to_owned(), |error_c| signed(scale, error_c))
        };
        format!(
            "{} {}, {} {}; {} ({}, {} {record})",
            self.say("as found", "antes"),
            worst(|point| point.found_error_c),
            self.say("as left", "después"),
            worst(|point| point.left_error_c),
            self.correction(done.left),
            plain(&done.by),
            self.say("record", "asiento"),
        )
    }

    /// `value · gain + offset`, the offset on the scale of the reader.
    fn correction(&self, correction: Correction) -> String {
        let word = self.say("correction", "corrección");
        format!("{word} {}", correction_of(correction, self.reader().scale))
    }

    fn tau(&self, probe: &SignedProbe) -> String {
        let Some(tau_s) = probe.tau_s else { return self.say("NOT ON FILE", "NO CONSTA").to_owned() };
        match probe.response {
            Some(record) => {
                let wide =
                    self.facts.responses.get(&record).map(|done| format!(" ± {:.2} s", done.expanded_s));
                let wide = wide.unwrap_or_default();
                format!("{tau_s:.2} s{wide} ({} {record})", self.say("record", "asiento"))
            }
            None => {
                let configured =
                    self.say("as configured; none on record", "según la configuración; no consta");
                format!("{tau_s:.2} s, {configured}")
            }
        }
    }

    /// The proofs of the wiring, the newest of each probe.
    pub(super) fn wiring(&self) -> Section {
        let signed = self.facts.signed;
        let mut records: Vec<u64> = signed.probes.iter().filter_map(|probe| probe.proof).collect();
        // The sheet of an earlier version names one proof for all probes.
        let (one_for_all, all) = (records.is_empty(), signed.wiring_proof);
        records.extend(all.filter(|_| one_for_all));
        records.sort_unstable();
        records.dedup();
        let mut blocks: Vec<Block> = records.iter().map(|record| self.proof(*record)).collect();
        let mut rows: Vec<Vec<String>> = Vec::new();
        for record in records {
            let Some(proof) = self.facts.proofs.get(&record) else { continue };
            let named: Vec<&str> = signed
                .probes
                .iter()
                .filter(|probe| probe.proof == Some(record))
                .map(|probe| probe.probe.as_str())
                .collect();
            let counts = |probe: &&ProvenProbe| one_for_all || named.contains(&probe.probe.as_str());
            rows.extend(
                proof
                    .probes
                    .iter()
                    .filter(counts)
                    .map(|probe| self.proven(&probe.probe, probe.instead.as_deref(), probe)),
            );
            // One that answered in the place of another was not warmed itself.
            let own = |name: &&&str| !proof.probes.iter().any(|probe| probe.probe == **name);
            for name in named.iter().filter(own) {
                let asked = proof.probes.iter().find(|asked| asked.instead.as_deref() == Some(name));
                rows.extend(asked.map(|asked| self.proven(name, Some(&asked.probe), asked)));
            }
        }
        if !rows.is_empty() {
            let heads = [
                self.say("Probe warmed", "Sonda calentada"),
                self.say("Found", "Hallado"),
                self.say("Seen", "Observado"),
            ];
            blocks.push(Block::Table { heads: heads.map(str::to_owned).to_vec(), rows });
        }
        if blocks.is_empty() {
            blocks.push(Block::Text(self.say("Never proved.", "Nunca comprobado.").to_owned()));
        }
        self.section("Proof of the wiring", "Comprobación del cableado", blocks)
    }

    /// One proof in a line.
    fn proof(&self, record: u64) -> Block {
        let noun = self.say("record", "asiento");
        let Some(proof) = self.facts.proofs.get(&record) else {
            return Block::Text(format!("{noun} {record} ({})", self.unread()));
        };
        let good = if proof.good { self.say("Good", "Bien") } else { self.say("NOT GOOD", "MAL") };
        let (at, by) = (self.teller.stamp(proof.at), plain(&proof.by));
        Block::Text(format!("{good}: {at}, {by} ({noun} {record})"))
    }

    /// What was found of one probe as another was warmed, or itself, as a row.
    fn proven(&self, probe: &str, instead: Option<&str>, warmed: &ProvenProbe) -> Vec<String> {
        let reader = self.reader();
        let mark = if warmed.good { "✓" } else { "✗" };
        let instead = instead.map(|other| format!(" ({})", plain(other)));
        let word = found(&warmed.finding, reader.language);
        let found = format!("{mark} {word}{}", instead.unwrap_or_default());
        vec![plain(probe), found, plain(&warmed.told(reader.language, reader.scale))]
    }

    /// Verdict of the test cycle, when it was, and its sanitizer where that was outside its range.
    fn result(&self, tested: TestCycle, cycle: &Cycle) -> String {
        let judged = of_verdict(tested.verdict, &self.teller);
        let (when, record) = (self.teller.stamp(cycle.rinse_started), self.say("record", "asiento"));
        let off_range = OffRange::of(cycle).map(|off| format!("; {}", off.told(self.reader().language)));
        format!("{judged}: {when}, {record} {}{}", tested.record, off_range.unwrap_or_default())
    }

    /// The test cycle with its trace.
    pub(super) fn cycle(&self) -> Section {
        let reader = self.reader();
        let blocks = match (self.facts.signed.test_cycle, self.facts.cycle) {
            (Some(tested), Some(cycle)) => {
                let symbol = reader.scale.symbol();
                let against = |measured_c: Option<f64>, give_or_take: &str, limit_c: f64| {
                    let of = self.say("limit", "límite");
                    measured_c.map_or_else(
                        || format!("– ({of} {})", reader.temperature(limit_c)),
                        |measured_c| {
                            let (measured, limit) = reader.pair(measured_c, limit_c);
                            format!("{measured}{give_or_take} {symbol} ({of} {limit} {symbol})")
                        },
                    )
                };
                let basis = match tested.basis {
                    Basis::Raw => String::new(),
                    Basis::LagCorrected => {
                        format!(
                            "; {}",
                            self.say("corrected for the probe's delay", "corregido por el retardo")
                        )
                    }
                };
                let uncertainty = format!(" ± {:.1}", reader.scale.difference(cycle.uncertainty_c));
                let minimum = format!("{}{basis}", against(tested.rinse_min_c, &uncertainty, cycle.limit_c));
                let mut rows = vec![
                    self.row("Result", "Resultado", self.result(tested, cycle)),
                    self.row("Settled final-rinse minimum", "Mínimo estable del enjuague", minimum),
                    self.row(
                        "Limit held for",
                        "Límite sostenido",
                        format!(
                            "{:.1} s ({:.1} s {})",
                            cycle.dwell_s,
                            cycle.dwell_required_s,
                            self.say("required", "exigidos")
                        ),
                    ),
                    self.row(
                        "Wash minimum",
                        "Mínimo del lavado",
                        against(cycle.wash_min_c, "", cycle.wash_limit_c),
                    ),
                ];
                let beside = cycle.findings.iter().map(|beside| {
                    self.row("Found beside it", "Hallado además", finding(beside, &self.teller))
                });
                rows.extend(beside);
                let mut blocks = vec![Block::Rows(rows)];
                blocks.push(match self.facts.trace {
                    Some(trace) => {
                        let plot = plot::cycle::plot(&plain(self.facts.machine), cycle, trace, reader);
                        Block::Plot {
                            svg: plot.svg(PLOT),
                            narrow: plot.svg(Size::PHONE),
                            words: plot.description,
                        }
                    }
                    None => Block::Text(
                        self.say("No trace of it is kept.", "No se conserva su traza.").to_owned(),
                    ),
                });
                blocks
            }
            (Some(tested), None) => vec![Block::Text(format!(
                "{} {} ({})",
                self.say("record", "asiento"),
                tested.record,
                self.unread()
            ))],
            (None, _) => vec![Block::Text(self.say("None.", "Ninguno.").to_owned())],
        };
        self.section("Test cycle", "Ciclo de prueba", blocks)
    }

    /// What could hurt somebody.
    pub(super) fn cautions(&self) -> Section {
        let teller = &self.teller;
        // Times of deep burns: burn-prevention tables for adults, 5 s at 60 °C and 1 s at 68 °C.
        let (at60, at68) = (self.reader().temperature(60.0), self.reader().temperature(68.0));
        let mut list = vec![
            teller.with(Word::CautionScald, &[("at60", &at60), ("at68", &at68)]),
            self.say(
                "Before any work shut down, isolate, lock out, relieve pressure and heat, and verify (OSHA 29 CFR 1910.147). A booster often has a second supply. Mains is the work of a licensed electrician.",
                "Antes de cualquier trabajo pare, aísle, bloquee, alivie presión y calor, y verifique (OSHA 29 CFR 1910.147). El calentador de refuerzo suele tener una segunda alimentación. La red eléctrica es trabajo de un electricista autorizado.",
            )
            .to_owned(),
            self.say(
                "Pressure lines and thermowells are the work of a licensed plumber, the line isolated and drained. Do not drill a listed machine.",
                "Las tuberías a presión y los termopozos son trabajo de un plomero autorizado, con la línea aislada y vaciada. No perfore una máquina certificada.",
            )
            .to_owned(),
        ];
        if self.facts.signed.plate.sanitizing.is_chemical() {
            list.push(teller.say(Word::CautionChlorine).to_owned());
        }
        list.push(teller.say(Word::AidText).to_owned());
        self.section("Cautions", "Precauciones", vec![Block::List(list)])
    }

    /// What is on record, and who signs.
    pub(super) fn record(&self) -> Section {
        let signed = self.facts.signed;
        let mut rows = Vec::new();
        match self.facts.record {
            Some(record) => {
                rows.push(self.row("By", "Por", plain(&signed.by)));
                rows.push(self.row("When", "Cuándo", self.teller.stamp(signed.at)));
                rows.push(self.row("Record", "Asiento", record.to_string()));
                let sealed = self.facts.seal.map_or_else(
                    || self.say("none over it yet", "aún ninguno que lo incluya").to_owned(),
                    |seal| {
                        let over = self.say("records, root", "asientos, raíz");
                        format!("{} {over} {}", seal.size, seal.root)
                    },
                );
                rows.push(self.row("Checkpoint", "Punto de control", sealed));
            }
            None => {
                let not_yet = self.say("not signed yet", "aún sin firmar").to_owned();
                rows.push(self.row("Record", "Asiento", not_yet));
            }
        }
        let mut blocks = vec![Block::Rows(rows)];
        if let Some(note) = &signed.note {
            let note = format!("{}: {}", self.say("Note", "Nota"), lines(note).trim());
            blocks.push(Block::Note(note));
        }
        self.section("Sign-off", "Firma", blocks)
    }
}
