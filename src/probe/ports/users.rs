//! Who may open a device: this user, and the user of the service.

use std::fs;
use std::os::unix::fs::MetadataExt;
use std::path::Path;

use serde::Serialize;

use crate::transport::accounts::name_in;

/// The service's user, as packages make it.
const SERVICE_USER: &str = "rinseward";
/// The group that the service gets beside its own.
const SERVICE_GROUP: &str = "dialout";

/// A user with all groups.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct User {
    /// Number.
    pub uid: u32,
    /// Name.
    pub name: String,
    /// Numbers of the groups.
    pub groups: Vec<u32>,
}

/// The users of this computer, as far as they matter here.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Users {
    passwd: String,
    group: String,
    me: User,
    service: Option<User>,
}

/// Who owns a device, and who may read and write it.
#[derive(Clone, PartialEq, Eq, Debug, Serialize)]
pub struct Access {
    /// Permissions as `ls -l` prints them, such as `rw-rw----`.
    pub mode: String,
    /// Owner.
    pub owner: String,
    /// Group.
    pub group: String,
    /// Whether whoever asks may open it.
    pub you: bool,
    /// Whether the service's user may; absent where there is no such user.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub service: Option<bool>,
}

impl Users {
    /// The users of this computer; who asks is whoever runs this process.
    #[must_use]
    pub fn of_system() -> Self {
        let read = |path| fs::read_to_string(path).unwrap_or_default();
        let groups = rustix::process::getgroups().unwrap_or_default();
        let mut groups: Vec<u32> = groups.into_iter().map(|group| group.as_raw()).collect();
        groups.push(rustix::process::getegid().as_raw());
        Self::new(read("/etc/passwd"), read("/etc/group"), rustix::process::geteuid().as_raw(), groups)
    }

    /// Users by the text of passwd(5) and group(5).
    #[must_use]
    pub fn new(passwd: String, group: String, uid: u32, groups: Vec<u32>) -> Self {
        let name = name_in(&passwd, uid).unwrap_or_else(|| uid.to_string());
        let service = service(&passwd, &group);
        Self { me: User { uid, name, groups }, service, passwd, group }
    }

    /// Whoever asks.
    #[must_use]
    pub const fn me(&self) -> &User {
        &self.me
    }

    /// Whether the service's user is there.
    #[must_use]
    pub const fn has_service(&self) -> bool {
        self.service.is_some()
    }

    /// The name of a user, or the number where it has none here.
    #[must_use]
    pub fn name(&self, uid: u32) -> String {
        name_in(&self.passwd, uid).unwrap_or_else(|| uid.to_string())
    }

    pub(super) fn access(&self, device: &Path) -> Access {
        let Ok(found) = fs::metadata(device) else {
            let unknown = || "?".to_owned();
            return Access { mode: unknown(), owner: unknown(), group: unknown(), you: false, service: None };
        };
        let (mode, uid, gid) = (found.mode(), found.uid(), found.gid());
        Access {
            mode: printed(mode),
            owner: self.name(uid),
            group: name_in(&self.group, gid).unwrap_or_else(|| gid.to_string()),
            you: may_open(mode, uid, gid, &self.me),
            service: self.service.as_ref().map(|service| may_open(mode, uid, gid, service)),
        }
    }
}

/// Whether a user may read and write a file of this mode (POSIX XBD 4.7: the first class that fits decides).
pub(super) fn may_open(mode: u32, uid: u32, gid: u32, user: &User) -> bool {
    let bits = if user.uid == uid {
        mode >> 6
    } else if user.groups.contains(&gid) {
        mode >> 3
    } else {
        mode
    };
    user.uid == 0 || bits & 0o6 == 0o6
}

/// The service's user with its own groups, and the one that its unit adds.
fn service(passwd: &str, group: &str) -> Option<User> {
    let line = passwd.lines().find(|line| line.split(':').next() == Some(SERVICE_USER))?;
    let mut numbers = line.split(':').skip(2).map_while(|field| field.parse().ok());
    let (uid, own) = (numbers.next()?, numbers.next()?);
    let is_in = |members: &str| members.split(',').any(|member| member == SERVICE_USER);
    let further = group.lines().filter_map(|line| {
        let mut fields = line.split(':');
        let (name, number, members) = (fields.next()?, fields.nth(1)?, fields.next()?);
        if name == SERVICE_GROUP || is_in(members) { number.parse().ok() } else { None }
    });
    let groups = [own].into_iter().chain(further).collect();
    Some(User { uid, name: SERVICE_USER.to_owned(), groups })
}

/// `rw-rw----`.
fn printed(mode: u32) -> String {
    (0..9).map(|place| if mode >> (8 - place) & 1 == 1 { ['r', 'w', 'x'][place % 3] } else { '-' }).collect()
}
