//! The configuration as the program uses it: whatever exists makes sense.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::time::Duration;

use jiff::civil::Time;

use super::delivery::Delivery;
use super::series::SeriesOptions;
use super::source::Source;
use crate::core::alert::Settings;
use crate::core::channel::{Channel, Place, Probe, Role};
use crate::core::cycle::plate::Profile;
use crate::core::id::{ChannelId, ChannelName, MachineId};
use crate::core::on_file::OnFile;
use crate::core::time::Timestamp;
use crate::core::units::Celsius;

/// Where and how the ledger is kept.
#[derive(Clone, PartialEq, Debug)]
pub struct LedgerOptions {
    /// The file.
    pub path: PathBuf,
    /// Longest time between two commits.
    pub commit_interval: Duration,
    /// How long blocks of readings are kept; records and the traces of cycles stay for ever.
    pub block_retention: Duration,
}

/// The pages behind the links of messages.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct WebOptions {
    /// Where they are served.
    pub listen: SocketAddr,
    /// Whether a proxy stands before them.
    pub behind_proxy: bool,
    /// What they show of themselves by TLS; `None` where they do not speak it.
    pub tls: Option<TlsFiles>,
    /// What links begin with, without a slash at its end; messages carry none where it is `None`.
    pub public_url: Option<String>,
    /// How long a link can be used.
    pub link_life: Duration,
}

/// Certificate and key of the pages, PEM files.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct TlsFiles {
    /// The certificate, and those between it and its authority.
    pub certificate: PathBuf,
    /// Its private key.
    pub key: PathBuf,
}

/// Who gets a digest.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DigestOptions {
    /// When it leaves, in the site's time.
    pub at: Time,
    /// Contacts that get the one of yesterday, every day.
    pub daily: Vec<String>,
    /// Contacts that get the one of last week, on Mondays.
    pub weekly: Vec<String>,
}

/// Where the service of the ledger at this place listens, unless `[service] socket` says otherwise.
#[must_use]
pub fn socket_beside(ledger: &Path) -> PathBuf {
    let mut socket = ledger.as_os_str().to_owned();
    socket.push(".socket");
    PathBuf::from(socket)
}

/// The whole configuration.
#[derive(Clone, Debug)]
pub struct Configuration {
    /// Name of the site.
    pub site: String,
    /// Machines; the place is the [`crate::core::id::MachineId`].
    pub machines: Vec<Profile>,
    /// Channels; the place is the [`crate::core::id::ChannelId`].
    pub channels: Vec<Channel>,
    /// How long a calibration of each temperature probe holds, by channel name.
    pub calibration_holds: BTreeMap<String, Duration>,
    /// Sources; the place is the [`crate::core::id::SourceId`].
    pub sources: Vec<Source>,
    /// The ledger.
    pub ledger: LedgerOptions,
    /// Whom to call for service, as messages say it.
    pub call: Option<String>,
    /// Who is told of what, and when.
    pub alerts: Settings,
    /// Who gets which digest, and when.
    pub digest: DigestOptions,
    /// How messages leave.
    pub delivery: Delivery,
    /// Time series; `None` where none are sent.
    pub series: Option<SeriesOptions>,
    /// How far ahead of the gateway's clock a reading may be stamped.
    pub ahead_max: Duration,
    /// The socket by which commands reach the running service.
    pub socket: PathBuf,
    /// The pages behind the links of messages; `None` where they are not served.
    pub web: Option<WebOptions>,
}

impl Configuration {
    /// The probe of this channel name, where it is a temperature probe.
    #[must_use]
    pub fn probe(&self, channel: &str) -> Option<(&Channel, &Probe)> {
        let channel = self.channels.iter().find(|known| known.name.as_str() == channel)?;
        match &channel.role {
            Role::Probe(probe) => Some((channel, probe)),
            Role::ColdJunction { .. } | Role::Running | Role::Concentration | Role::Ph => None,
        }
    }

    /// The midnight of the day on which the configuration says that this probe was calibrated.
    #[must_use]
    pub fn calibrated_on(&self, channel: &ChannelName) -> Option<Timestamp> {
        *self.alerts.machines.get(channel.machine())?.calibrated_on.get(channel.as_str())?
    }

    /// The limit at which a probe of this machine and place is looked at: that of the wash for a probe
    /// in a wash tank, else that of the final rinse.
    #[must_use]
    pub fn limit(&self, machine: MachineId, place: Place) -> Option<Celsius> {
        let machine = self.machines.get(usize::from(machine.0))?;
        Some(match place {
            Place::WashTank => machine.wash_min.at,
            Place::FinalRinse | Place::Ware | Place::Other => machine.rinse_min.at,
        })
    }

    /// The channels with the calibrations and response tests on record at `at` laid over what is configured.
    #[must_use]
    pub fn channels_in_force(&self, file: &OnFile, at: Timestamp) -> Vec<Channel> {
        let mut channels = self.channels.clone();
        for channel in &mut channels {
            if let Role::Probe(probe) = &channel.role {
                let in_force = file.in_force(channel.name.as_str(), self.calibrated_on(&channel.name), at);
                channel.role = Role::Probe(in_force.laid_over(probe));
            }
        }
        channels
    }

    /// Since when each probe was as it is told, by what is on record, in order of time; for those that
    /// something came in force for, and first as they are configured.
    #[must_use]
    pub fn course(&self, file: &OnFile) -> Vec<(Timestamp, ChannelId, Probe)> {
        let mut before = self.channels.clone();
        let mut course = Vec::new();
        for at in file.changes() {
            let now = self.channels_in_force(file, at);
            for (channel, before) in now.iter().zip(&before) {
                if let (Role::Probe(probe), Role::Probe(before)) = (&channel.role, &before.role)
                    && probe != before
                {
                    if course.iter().all(|(_, known, _)| *known != channel.id) {
                        course.push((Timestamp::MIN, channel.id, before.clone()));
                    }
                    course.push((at, channel.id, probe.clone()));
                }
            }
            before = now;
        }
        course
    }
}
