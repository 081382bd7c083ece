//! The lists of users and groups of this computer: passwd(5) and group(5).

/// The name that belongs to a number in the form of passwd(5) and group(5), which both begin with
/// name, password and number. Users of a directory service stay a number.
#[must_use]
pub fn name_in(lines: &str, number: u32) -> Option<String> {
    let number = number.to_string();
    lines.lines().find_map(|line| {
        let mut fields = line.split(':');
        let name = fields.next()?;
        (fields.nth(1)? == number).then(|| name.to_owned())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    // Lines in the form of group(5) and passwd(5).
    #[test]
    fn a_number_is_told_by_its_name() {
        let lines = "root:x:0:0:root:/:/bin/sh\nbroken\nrinseward:x:998:maria,tom\n";
        for (number, expected) in [(0, Some("root")), (998, Some("rinseward")), (4, None)] {
            assert_eq!(name_in(lines, number).as_deref(), expected);
        }
    }
}
