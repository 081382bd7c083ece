//! What is wrong in a configuration, one mistake at a time.

use super::*;

#[test]
fn mistakes_in_variables_are_told_by_variable() {
    let base = format!("{MACHINE}{RINSE}");
    for (variable, value, expected) in [
        ("RINSEWARD__LEDGER__PATHH", "x", "config-key [ledger], pathh"),
        ("RINSEWARD__LEGDER__PATH", "x", "config-key legder.path"),
        ("RINSEWARD__LEDGER", "x", "config-value ledger"),
        ("RINSEWARD__MACHINE__DM2__KIND", "x", "config-name machine.dm2.kind"),
        ("RINSEWARD__MACHINE__DM1", "x", "config-value machine.dm1"),
        ("RINSEWARD__LEDGER__COMMIT_INTERVAL", "2", "config-value [ledger], commit-interval"),
    ] {
        assert_eq!(problems(&[&base], &[(variable, value)]), [expected]);
        let told = load(&[&base], &[(variable, value)]).expect_err("a mistake");
        assert!(
            told[0].to_string().starts_with(&format!("environment variable {variable}: ")),
            "{}",
            told[0]
        );
    }
}

#[test]
fn mistakes_are_refused_one_by_one() {
    let base = format!("{MACHINE}{RINSE}");
    for (text, expected) in [
        (String::new(), "config-missing [[machine]]"),
        (
            format!("{MACHINE}probes = [\"rinse\", \"ware\", \"ware\"]"),
            "config-value [[machine]] dm1, probes",
        ),
        (
            ["a", "b"].iter().fold(base.clone(), |text, name| {
                text + &format!(
                    "[[source]]\nname = \"{name}\"\nkind = \"mqtt\"\nhost = \"h\"\nclient-id = \"x\"\n\
                     [[source.subscription]]\nfilter = \"#\"\n"
                )
            }),
            "config-twice [[source]] b, client-id",
        ),
        (
            format!("{MACHINE}chlorine-max-mg-per-l = 100\n{RINSE}"),
            "config-value [[machine]] dm1, chlorine-max-mg-per-l",
        ),
        (
            format!("{MACHINE}sanitizing = \"quat\"\nquat-min-mg-per-l = nan\n{RINSE}"),
            "config-value [[machine]] dm1, quat-min-mg-per-l",
        ),
        (
            format!("{MACHINE}sanitizing = \"quat\"\nquat-min-mg-per-l = 500\n{RINSE}"),
            "config-value [[machine]] dm1, quat-min-mg-per-l",
        ),
        (MACHINE.to_owned(), "config-machine [[machine]] dm1"),
        (format!("[web]\nlisten = \"0.0.0.0:80\"\n{base}"), "config-value [web], listen"),
        (format!("[web]\nlisten = \"localhost\"\n{base}"), "config-value [web], listen"),
        (
            format!("[web]\nlisten = \"0.0.0.0:80\"\nkey = \"/k\"\n{base}"),
            "config-missing [web], certificate",
        ),
        (format!("[web]\ncertificate = \"/c\"\n{base}"), "config-missing [web], key"),
        (format!("[web]\npublic-url = \"ftp://x\"\n{base}"), "config-value [web], public-url"),
        (format!("[web]\npublic-url = \"https://x?a=b\"\n{base}"), "config-value [web], public-url"),
        (format!("{base}silent-after = \"0s\""), "config-value [[probe]] dm1/rinse, silent-after"),
        (format!("{base}tau = 1.5"), "config-value [[probe]] dm1/rinse, tau"),
        (format!("{base}[[probe]]\nname = \"rinse\""), "config-value [[probe]] rinse, name"),
        (format!("{base}[[probe]]\nname = \"dm1/exit\""), "config-missing [[probe]] dm1/exit, place"),
        (
            format!("{base}[[probe]]\nname = \"dm1/b\"\nplace = \"final-rinse\""),
            "config-twice [[probe]] dm1/b, what «dm1/rinse» is already",
        ),
        (
            format!("{base}[[probe]]\nname = \"dm1/running\"\ntau = \"1s\""),
            "config-value [[probe]] dm1/running, tau",
        ),
        (
            format!("{base}accuracy = {{ class = \"iec-1\" }}"),
            "config-value [[probe]] dm1/rinse, accuracy, class",
        ),
        (
            format!("{base}accuracy = {{ sensor = \"1 K\", calibrated = \"1 K\" }}"),
            "config-value [[probe]] dm1/rinse, accuracy, calibrated",
        ),
        (
            format!("{base}calibration = {{ offset = \"9 K\" }}"),
            "config-value [[probe]] dm1/rinse, calibration, offset",
        ),
        (format!("{base}calibration = \"none\""), "config-value [[probe]] dm1/rinse, calibration"),
        (format!("{base}[[source]]\nname = \"s\"\nkind = \"serial\""), "config-missing [[source]] s, device"),
        (
            format!("{base}[[source]]\nname = \"s\"\nkind = \"mqtt\"\nhost = \"b\""),
            "config-missing [[source]] s, subscription",
        ),
        (
            format!(
                "{base}[[probe]]\nname = \"dm1/wash\"\n[[source]]\nname = \"s\"\nkind = \"mqtt\"\nhost = \"h\"\n\
                 probes = [\"dm1/rinse\"]\n[[source.subscription]]\nfilter = \"x\"\npayload = \"bare\"\nprobe = \"dm1/wash\""
            ),
            "config-value [[source]] s, subscription 1, probe",
        ),
        (format!("[machine]\nname = \"dm1\"\n{RINSE}"), "config-value machine"),
        (format!("machine = 7\n{RINSE}"), "config-value machine"),
        (format!("{base}[[source]]\nname = \"s p\"\nkind = \"replay\""), "config-value [[source]] s p, name"),
    ] {
        let told = problems(&[&text], &[]);
        assert!(told.iter().any(|told| told == expected), "{expected}\n{told:#?}\n{text}");
    }
}
