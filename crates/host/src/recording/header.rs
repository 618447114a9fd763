//! What a recording says of the run in its section header, for machines: `run: {"format":1,...}`.
//!
//! With scenario, program version and the journal it is enough to repeat the run; fields may be added.

use serde::{Deserialize, Serialize};
use twotrip_can::timing::BitRate;
use twotrip_isotp::{Dlc, Frames, Profile, Timers, TxDl};
use twotrip_scenario::Scenario;
use twotrip_sim::{Identifiers, Settings, Timing};

/// The format that is written.
pub const FORMAT: u32 = 1;
/// What its comment begins with.
pub const RUN_PREFIX: &str = "run: ";
/// What the comment with the memory of the ECU begins with, where that came from a file.
pub const MEMORY_PREFIX: &str = "memory: ";

/// A run.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// See [`FORMAT`].
    pub format: u32,
    /// The scenario's name, or its file.
    pub scenario: String,
    /// CRC-32 of its text, in hex.
    pub crc32: String,
    /// The car that took the place of the scenario's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vehicle: Option<String>,
    /// Seed of everything random.
    pub seed: u64,
    /// How fast the car's time passes, for people.
    pub pace: String,
    /// How long answers take.
    pub timing: Delay,
    /// Whether the memory was filled, or a value pinned, by something other than the car's physics.
    pub not_physical: bool,
    /// CRC-32 of the text of the vehicle, in hex.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub vehicle_crc32: Option<String>,
    /// Whether frames take their time on the bus itself.
    #[serde(default)]
    pub paced_bus: bool,
    /// Whether periodic messages are on the bus.
    #[serde(default)]
    pub broadcasts: bool,
    /// What fills up the car's frames, in hex.
    #[serde(default = "no_padding")]
    pub padding: String,
    /// Whether frames of less than eight bytes are taken.
    #[serde(default)]
    pub short_frames: bool,
    /// Whether the timeouts are the 1000 ms of ISO 15765-2.
    #[serde(default)]
    pub generic_timers: bool,
    /// The longest frame that the car sends on CAN FD, bytes, if it speaks that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub can_fd: Option<u8>,
    /// Size of the identifiers, in words; 11-bit if it is not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identifiers: Option<String>,
    /// Bit rate where the bus has none of its own, kbit/s; 500 if it is not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bit_rate: Option<u32>,
    /// Whether the ECU's memory came from a file: then it stands in a comment of its own.
    #[serde(default)]
    pub memory: bool,
    /// Whether the instants of the frames are bus time, not those of a clock of this world.
    #[serde(default)]
    pub bus_time: bool,
    /// Whether the car was under simulated time, in which nothing is ever late.
    #[serde(default)]
    pub never_late: bool,
}

/// How long answers take.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Delay {
    /// As in a car.
    Real,
    /// None.
    Fast,
}

/// CRC-32 of a text, as it stands in a header.
#[must_use]
pub fn digest(text: &[u8]) -> String {
    format!("{:08x}", crc32fast::hash(text))
}

fn no_padding() -> String {
    "00".to_owned()
}

impl Header {
    /// The run of a scenario, with nothing said of its settings yet.
    #[must_use]
    pub fn of(scenario: &str, text: &[u8]) -> Self {
        Self {
            format: FORMAT,
            scenario: scenario.to_owned(),
            crc32: digest(text),
            vehicle: None,
            seed: 0,
            pace: "live".to_owned(),
            timing: Delay::Real,
            not_physical: false,
            vehicle_crc32: None,
            paced_bus: false,
            broadcasts: false,
            padding: no_padding(),
            short_frames: false,
            generic_timers: false,
            can_fd: None,
            identifiers: None,
            bit_rate: None,
            memory: false,
            bus_time: false,
            never_late: false,
        }
    }

    /// Takes over what the settings of a simulator say.
    #[must_use]
    pub fn with(self, settings: &Settings) -> Self {
        let Profile {
            timers,
            pad,
            dlc,
            frames,
        } = settings.transport;
        let (identifiers, bit_rate) = (settings.identifiers, settings.bit_rate);
        Self {
            identifiers: (identifiers != Identifiers::default()).then(|| identifiers.word().to_owned()),
            bit_rate: (bit_rate != BitRate::default()).then_some(bit_rate.kbit_per_second()),
            seed: settings.seed,
            timing: match settings.timing.reply {
                Some(_) => Delay::Real,
                None => Delay::Fast,
            },
            paced_bus: settings.timing.spacing.is_none() && settings.timing.reply.is_some(),
            broadcasts: settings.broadcasts,
            padding: format!("{pad:02X}"),
            short_frames: dlc == Dlc::Lenient,
            generic_timers: timers == Timers::GENERIC,
            can_fd: match frames {
                Frames::Classic => None,
                Frames::Fd { tx_dl, .. } => Some(tx_dl.bytes()),
            },
            ..self
        }
    }

    /// The settings of a simulator.
    #[must_use]
    pub fn settings(&self, scenario: &Scenario) -> Settings {
        let timing = match self.timing {
            Delay::Real if self.paced_bus => Timing::REAL_ON_PACED_BUS,
            Delay::Real => Timing::REAL,
            Delay::Fast => Timing::FAST,
        };
        let identifiers = self.identifiers.as_deref().and_then(Identifiers::find);
        let bit_rate = self.bit_rate.and_then(BitRate::from_kbit_per_second);
        Settings {
            broadcasts: self.broadcasts,
            identifiers: identifiers.unwrap_or_default(),
            bit_rate: bit_rate.unwrap_or_default(),
            transport: Profile {
                timers: if self.generic_timers {
                    Timers::GENERIC
                } else {
                    Timers::OBD
                },
                pad: u8::from_str_radix(&self.padding, 16).unwrap_or_default(),
                dlc: if self.short_frames {
                    Dlc::Lenient
                } else {
                    Dlc::Strict
                },
                frames: match self.can_fd.and_then(TxDl::new) {
                    Some(tx_dl) => Frames::Fd {
                        tx_dl,
                        bit_rate_switch: true,
                    },
                    None => Frames::Classic,
                },
            },
            ..Settings::of(scenario, self.seed, timing)
        }
    }

    /// As a comment of the section.
    #[must_use]
    pub fn comment(&self) -> String {
        // Strings, numbers and flags: there is nothing that JSON cannot say.
        let json = serde_json::to_string(self).unwrap_or_default();
        format!("{RUN_PREFIX}{json}")
    }

    /// Out of a comment of a section; `None` if it is another one, or of a format that is not known here.
    #[must_use]
    pub fn parse(comment: &str) -> Option<Self> {
        let header: Self = serde_json::from_str(comment.strip_prefix(RUN_PREFIX)?).ok()?;
        (header.format == FORMAT).then_some(header)
    }
}

#[cfg(test)]
mod tests {
    use twotrip_scenario::shipped;

    use super::*;

    #[test]
    fn settings_go_in_and_come_out() {
        let healthy = shipped::find("healthy").expect("shipped");
        let scenario = Scenario::parse(healthy.text.as_bytes()).expect("a scenario");
        for timing in [Timing::REAL, Timing::REAL_ON_PACED_BUS, Timing::FAST] {
            let fd = Frames::Fd {
                tx_dl: TxDl::LONGEST,
                bit_rate_switch: true,
            };
            let classic = Frames::Classic;
            let (short, long) = (Identifiers::Bits11, Identifiers::Bits29);
            for (timers, dlc, frames, broadcasts, identifiers, bit_rate) in [
                (Timers::OBD, Dlc::Strict, classic, false, short, BitRate::Kbit500),
                (Timers::GENERIC, Dlc::Strict, fd, true, long, BitRate::Kbit500),
                (Timers::OBD, Dlc::Lenient, classic, true, short, BitRate::Kbit250),
            ] {
                let settings = Settings {
                    transport: Profile {
                        timers,
                        pad: 0xCC,
                        dlc,
                        frames,
                    },
                    broadcasts,
                    identifiers,
                    bit_rate,
                    ..Settings::of(&scenario, 77, timing)
                };
                let written = Header::of("healthy", healthy.text.as_bytes()).with(&settings);
                let read = Header::parse(&written.comment()).expect("our own");
                assert_eq!(read, written);
                let again = read.settings(&scenario);
                assert_eq!(
                    (again.seed, again.timing, again.transport, again.broadcasts),
                    (
                        settings.seed,
                        settings.timing,
                        settings.transport,
                        settings.broadcasts
                    )
                );
                assert_eq!((again.identifiers, again.bit_rate), (identifiers, bit_rate));
            }
        }
    }

    #[test]
    fn older_headers_are_read_and_others_are_not() {
        let old = r#"run: {"format":1,"scenario":"x","crc32":"0","seed":2,"pace":"max","timing":"fast","not_physical":true}"#;
        let read = Header::parse(old).expect("the first format");
        assert_eq!(
            (read.seed, read.timing, read.padding.as_str()),
            (2, Delay::Fast, "00")
        );
        assert_eq!(Header::parse(&old.replace("\"format\":1", "\"format\":2")), None);
        assert_eq!(Header::parse("run: {"), None);
        assert_eq!(Header::parse("a remark"), None);
    }
}
