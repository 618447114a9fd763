//! The same in SAE J1979-2 (layouts of ISO 14229-1): who is found to speak it is asked in it.

use super::*;

/// $F8 10, which every ECU of this dialect has.
const PROTOCOL: [u8; 3] = [0x22, 0xF8, 0x10];

impl Session {
    pub(super) fn live_on_uds(&mut self) {
        self.ask(None, &PROTOCOL);
        if self.chance(70) {
            self.ask(None, &[0x22, 0xF4, 0x00, 0xF4, 0x20, 0xF4, 0x40]);
        }
        for _ in 0..4 + self.below(12) {
            let count = u64::try_from(self.ecus.len()).unwrap();
            let target = self.chance(40).then(|| self.below(count));
            match self.below(16) {
                0 => {
                    let range = [0xF4, 0xF6, 0xF8][self.below(3)];
                    self.ask(target, &[0x22, range, 0x00]);
                }
                1..=4 => {
                    let mut request = vec![0x22];
                    for _ in 0..=self.below(3) {
                        let pid =
                            self.supported(target, |ecu| ecu.pids.iter().map(|(pid, _)| *pid).collect());
                        request.extend(pid.into_iter().flat_map(|pid| [0xF4, pid]));
                    }
                    self.ask(target, &request);
                }
                5 => {
                    if let Some(monitor) = self.supported(target, |ecu| ecu.monitors.clone()) {
                        self.ask(target, &[0x22, 0xF6, monitor]);
                    }
                }
                6 => {
                    if let Some(info) = self.supported(target, |ecu| ecu.infos.clone()) {
                        self.ask(target, &[0x22, 0xF8, info]);
                    }
                }
                7 | 8 => {
                    let status = [0x08, 0x04, 0x0C, 0xFF][self.below(4)];
                    self.ask(target, &[0x19, 0x42, 0x33, status, 0xFF]);
                    self.read = true;
                }
                9 if self.read => self.ask(target, &[0x14, 0xFF, 0xFF, 0x33]),
                10 => self.ask(target, &[0x19, 0x55, 0x33]),
                11 => {
                    let sub = [0x04, 0x06][self.below(2)];
                    self.ask(target, &[0x19, sub, 0x03, 0x01, 0x00, 0xFF]);
                }
                12 => {
                    let quiet = [&[0x3E, 0x80][..], &[0x10, 0x81], &[0x3E, 0x00], &[0x10, 0x01]];
                    let one = self.below(4);
                    self.ask(target, quiet[one]);
                }
                13 if target.is_some() => self.ask(target, &[0x31, 0x01, 0xE0, 0x01]),
                // Of the makers: their own identifiers, codes of any kind.
                14 if target.is_some() => self.ask(target, &MAKERS),
                15 if target.is_some() => self.ask(target, &[0x19, 0x02, 0xFF]),
                _ => self.ask(target, &PROTOCOL),
            }
        }
    }

    pub(super) fn answer_on_uds(&mut self, ecu: usize, is_alone: bool, request: &[u8]) -> Answer {
        // $11, $12 and $31 are kept quiet where all were asked (AUTOSAR SWS_Dcm_00001).
        let refused = |code| match is_alone {
            true => Answer::Says(vec![0x7F, request[0], code]),
            false => Answer::Silence,
        };
        let says =
            |head: &[u8], entry: &[u8], count: usize| Answer::Says([head, &entry.repeat(count)].concat());
        match *request {
            [0x01..=0x0A, ..] => Answer::Silence,
            [0x22, ref dids @ ..] => {
                let mut bytes = vec![0x62];
                for did in dids.chunks(2) {
                    self.put_data(ecu, [did[0], did[1]], &mut bytes);
                }
                if bytes.len() == 1 {
                    refused(0x31)
                } else {
                    Answer::Says(bytes)
                }
            }
            [0x19, 0x42, ..] => says(
                &[0x59, 0x42, 0x33, 0xFF, 0xE1, 0x04],
                &[0x41, 0x03, 0x01, 0x00, 0x2F],
                self.below(6),
            ),
            [0x19, 0x55, ..] => says(
                &[0x59, 0x55, 0x33, 0xFF, 0x04],
                &[0x03, 0x01, 0x00, 0x2F],
                self.below(6),
            ),
            [0x19, 0x04, ..] if self.chance(50) => {
                let frame = [0x00, 0x02, 0xF4, 0x0C, 0x1A, 0xF8, 0xF4, 0x0D, 0x50];
                says(&[0x59, 0x04, 0x03, 0x01, 0x00, 0x2F], &frame, self.below(2))
            }
            [0x19, 0x06, ..] if self.chance(50) => says(
                &[0x59, 0x06, 0x03, 0x01, 0x00, 0x2F],
                &[0x92, 0, 9, 0, 9],
                self.below(2),
            ),
            [0x19, 0x02, ..] if self.chance(50) => {
                says(&[0x59, 0x02, 0xFF], &[0x03, 0x01, 0x00, 0x2F], self.below(6))
            }
            [0x19, 0x02, ..] => refused(0x12),
            [0x14, ..] if self.chance(30) => Answer::Says(vec![0x7F, 0x14, 0x22]),
            [0x14, ..] => Answer::Says(vec![0x54]),
            [0x3E, 0x00] => Answer::Says(vec![0x7E, 0x00]),
            [0x10, 0x01] => Answer::Says(vec![0x50, 0x01, 0x00, 0x32, 0x01, 0xF4]),
            [0x31, ..] if self.chance(50) => Answer::Says(vec![0x71, 0x01, 0xE0, 0x01, 0x00]),
            [0x3E | 0x10, ..] => Answer::Silence,
            _ => refused(0x31),
        }
    }

    /// Appends an identifier with its data, if this ECU has it.
    fn put_data(&mut self, ecu: usize, did: [u8; 2], bytes: &mut Vec<u8>) {
        let [range, number] = did;
        let Ecu {
            pids,
            monitors,
            infos,
            ..
        } = &self.ecus[ecu];
        let (numbers, length): (Vec<u8>, usize) = match range {
            0xF4 => {
                let pid = pids.iter().find(|(pid, _)| *pid == number);
                let numbers = pids.iter().map(|(pid, _)| *pid).collect();
                (numbers, pid.map_or(0, |(_, length)| *length))
            }
            0xF6 => (monitors.clone(), 3 * 8),
            0xF8 => {
                let length = match number {
                    0x06 => 4,
                    0x08 => 32,
                    0x04 => 16,
                    0x0A => 20,
                    0x10 => 1,
                    _ => 17,
                };
                ([&infos[..], &[0x10]].concat(), length)
            }
            _ => return,
        };
        if number % 0x20 == 0 {
            if number == 0 || numbers.iter().any(|other| *other > number) {
                bytes.extend(did);
                bytes.extend(mask(number, numbers.into_iter()));
            }
        } else if numbers.contains(&number) {
            bytes.extend(did);
            let data = (0..length).map(|_| u8::try_from(self.below(256)).unwrap());
            bytes.extend(data);
        }
    }
}
