//! What a test does to a car and to the tool on its bus, without phrases: codes, disturbances, and the judges of the tool.

use twotrip_obd::Dtc;
use twotrip_scenario::{
    Phrase,
    disturbance::Kind,
    phrase::{EcuRef, Preload},
};

use crate::{
    Car, Conduct, Disturbance, Error, Judged,
    conduct::{NEVER, Watcher},
};

impl Car {
    /// Writes confirmed codes into the fault memory of the engine ECU: with lamp, permanent entry and a freeze frame of what it
    /// measures now. Not physical: no fault is there, and [`Self::not_physical`] says so from now on.
    ///
    /// ```
    /// use twotrip::{Builder, Dtc};
    ///
    /// let mut car = Builder::of_vehicle("compact-2.0")?.story("key on")?.build()?;
    /// car.preload_confirmed(&[Dtc::p(0x0301), "P0420".parse()?])?;
    /// assert_eq!(car.ask(&[0x03])?.first(), Some(&[0x43, 2, 0x03, 0x01, 0x04, 0x20][..]));
    /// assert!(car.mil_commanded() && car.not_physical());
    /// # Ok::<(), twotrip::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`Error::Refused`] for a code that the ECU does not have, or if its memory is full.
    pub fn preload_confirmed(&mut self, codes: &[Dtc]) -> Result<(), Error> {
        self.carry_out(Phrase::Preload(
            Preload::Confirmed,
            codes.to_vec(),
            EcuRef::Engine,
        ))
        .map(drop)
    }

    /// Writes pending codes into it. Not physical.
    ///
    /// # Errors
    /// As [`Self::preload_confirmed`].
    pub fn preload_pending(&mut self, codes: &[Dtc]) -> Result<(), Error> {
        self.carry_out(Phrase::Preload(Preload::Pending, codes.to_vec(), EcuRef::Engine))
            .map(drop)
    }

    /// Switches a disturbance on, in place of one of its kind for the same frames or ECU. It acts from now on, and what the
    /// tool does about it is judged: [`Self::judged`].
    ///
    /// # Errors
    /// [`Error::Text`] for one that cannot be so; [`Error::Refused`] if too many are on.
    pub fn disturb(&mut self, disturbance: Disturbance) -> Result<(), Error> {
        let phrase = disturbance.phrase()?;
        self.carry_out(phrase).map(drop)
    }

    /// Switches off the disturbances of this kind, if there are any. What they did is judged further.
    pub fn end_disturbance(&mut self, kind: Kind) {
        self.switch_off(Some(kind));
    }

    /// Switches off all disturbances.
    pub fn end_disturbances(&mut self) {
        self.switch_off(None);
    }

    fn switch_off(&mut self, kind: Option<Kind>) {
        let done = self.carry_out(Phrase::DisturbOff(kind));
        debug_assert!(done.is_ok(), "to switch off what is not on is nothing: {done:?}");
    }

    /// What became of each disturbance so far, in their order: whether the tool did about it what a good one does. What it has
    /// not done by now it is taken never to do, so this is for when the tool has ended.
    ///
    /// ```
    /// use std::time::Duration;
    /// use twotrip::{Builder, CanId, Disturbance, DisturbanceKind as Kind, Frame, Verdict};
    ///
    /// let mut car = Builder::of_vehicle("compact-2.0")?.story("key on")?.build()?;
    /// car.disturb(Disturbance::of(Kind::Busy).times(1))?;
    /// car.send(Frame::padded(CanId::Standard(0x7DF), &[0x01, 0x03], 0))?;
    /// let frames = car.advance(Duration::from_millis(200));
    /// assert_eq!(frames[1].frame, Frame::padded(CanId::Standard(0x7E8), &[0x03, 0x7F, 0x03, 0x21], 0));
    /// assert_eq!(car.judged()[0].verdict, Verdict::Failed, "busy, and not asked again");
    ///
    /// // `ask` is a good tool.
    /// assert_eq!(car.ask(&[0x03])?.first(), Some(&[0x43, 0x00][..]));
    /// assert_eq!(car.judged()[0].verdict, Verdict::Held);
    /// # Ok::<(), twotrip::Error>(())
    /// ```
    pub fn judged(&mut self) -> Vec<Judged> {
        let never = self.world.now() + NEVER;
        let findings = self.verdicts.findings(&mut self.world.car, never);
        findings
            .map(|(number, disturbance, finding)| Judged {
                number,
                disturbance: disturbance.to_string(),
                verdict: finding.verdict,
                seen: finding.seen,
                source: finding.source,
            })
            .collect()
    }

    /// From now on what testers do on the bus is put down, for [`Self::conduct`]; a later call begins anew. It costs some
    /// tenths of a microsecond a frame, and nothing where it is not called.
    pub fn watch(&mut self) {
        self.watcher = Some(Box::new(Watcher::new()));
    }

    /// What testers did since [`Self::watch`], and which rules of conduct they broke: those of `--report` and of
    /// `twotrip explain`. What is still open is judged as if nothing more came.
    ///
    /// ```
    /// use twotrip::{Builder, Dtc, Severity};
    ///
    /// let mut car = Builder::of_vehicle("compact-2.0")?.story("key on")?.build()?;
    /// car.watch();
    /// car.ask(&[0x04])?;
    /// let conduct = car.conduct()?;
    /// let broken: Vec<_> = conduct.breaches().map(|breach| (breach.rule, breach.severity)).collect();
    /// assert_eq!(broken, [("cleared-unread", Severity::Unwise)], "{conduct}");
    ///
    /// car.watch();
    /// car.ask(&[0x03])?;
    /// assert!(car.conduct()?.is_clean());
    /// # Ok::<(), twotrip::Error>(())
    /// ```
    ///
    /// # Errors
    /// [`Error::NotWatched`] if it was never called: a test whose tool nobody looked at must not pass.
    pub fn conduct(&self) -> Result<Conduct, Error> {
        let watcher = self.watcher.as_ref().ok_or(Error::NotWatched)?;
        Ok(watcher.conduct(self.world.now()))
    }
}

#[cfg(test)]
mod tests {
    use crate::{Builder, Car, Disturbance, DisturbanceKind as Kind, Instant, Verdict};

    const QUESTIONS: [&[u8]; 7] = [
        &[0x01, 0x00],
        &[0x03],
        &[0x07],
        &[0x0A],
        &[0x09, 0x02],
        &[0x01, 0x01],
        &[0x04],
    ];

    fn asked(mut car: Car) -> Car {
        for question in QUESTIONS {
            car.ask(question).expect("a request");
        }
        car
    }

    /// The tester of the crate itself keeps the rules, with one ECU or several, whether frames take their time or none, and
    /// what it read is what is there.
    #[test]
    fn the_crates_own_tester_is_clean() {
        let vehicles = ["compact-2.0", "compact-2.0-transmission", "sedan-v6-29bit"];
        for (vehicle, at_once) in vehicles
            .into_iter()
            .flat_map(|name| [(name, false), (name, true)])
        {
            let car = Builder::of_vehicle(vehicle).and_then(|car| car.story("key on"));
            let car = car.map(|car| if at_once { car.at_once() } else { car });
            let mut car = car.and_then(|car| car.build()).expect("a car");
            let codes = [0x0171, 0x0301].map(crate::Dtc::p);
            car.preload_confirmed(&codes).expect("codes that it has");
            car.preload_pending(&[crate::Dtc::p(0x0420)])
                .expect("a code that it has");
            car.watch();
            let car = asked(car);
            let conduct = car.conduct().expect("it is watched");
            assert!(conduct.is_clean(), "{vehicle}, at once {at_once}: {conduct}");
            assert_eq!(conduct.testers[0].requests, 7);
            assert_eq!(conduct.confirmed_read, codes);
            assert_eq!(conduct.permanent_read, codes);
            assert!(conduct.pending_read.contains(&crate::Dtc::p(0x0420)));
        }
    }

    /// Whether anybody watches changes nothing on the bus.
    #[test]
    fn to_be_watched_changes_nothing() {
        let car = Builder::of_vehicle("compact-2.0").and_then(|car| car.story("key on")?.build());
        let (mut alone, mut watched) = (car.clone().expect("a car"), car.expect("a car"));
        watched.watch();
        for question in QUESTIONS {
            assert_eq!(alone.ask(question), watched.ask(question));
        }
        assert_eq!(alone.now(), watched.now());
        assert!(alone.now() > Instant::ZERO);
    }

    #[test]
    fn disturbances_are_numbered_and_end() {
        let car = Builder::of_vehicle("compact-2.0").and_then(|car| car.story("key on")?.build());
        let mut car = car.expect("a car");
        let lost = Disturbance::of(Kind::Drop).chance(1.0);
        car.disturb(lost).expect("it can be so");
        car.disturb(Disturbance::of(Kind::Padding)).expect("it can be so");
        assert!(car.ask(&[0x03]).expect("a request").answers.is_empty());
        car.end_disturbance(Kind::Drop);
        let answered = car.ask(&[0x03]).expect("a request");
        assert_eq!(
            answered.frames.last().expect("a frame").frame.data()[3..],
            [0xAA; 5]
        );
        car.end_disturbances();
        let answered = car.ask(&[0x03]).expect("a request");
        assert_eq!(answered.frames.last().expect("a frame").frame.data()[3..], [0; 5]);
        let judged = car.judged();
        assert_eq!(judged.len(), 2);
        assert_eq!((judged[0].number, &*judged[0].disturbance), (1, "drop 100 %"));
        assert_eq!(
            (judged[1].number, judged[1].verdict),
            (2, Verdict::Held),
            "{}",
            judged[1]
        );
    }
}
