//! What leaves the car, and when, while its memory is kept.

use std::time::Duration;

use twotrip_can::{CanId, Frame};
use twotrip_scenario::parse_phrase;
use twotrip_sim::Timing;

use super::*;
use crate::{
    bus::{BusEvent, Name, Sent},
    memory_file::{
        Options,
        tests::{WatchedDisk, car, open_watched},
    },
};

/// A tester's frames on the bus.
struct Asker(Bus);

impl Asker {
    /// Sends a question to all ECUs.
    async fn question(&mut self, service: u8) {
        let request = Frame::padded(CanId::Standard(0x7DF), &[1, service], 0);
        assert_eq!(self.0.send(&request).await.expect("sent"), Sent::Handed);
    }

    /// The service of the next answer.
    async fn answer(&mut self) -> u8 {
        loop {
            if let BusEvent::Frame(received) = self.0.recv().await.expect("received") {
                return received.frame.data()[1];
            }
        }
    }

    async fn ask(&mut self, service: u8) -> u8 {
        self.question(service).await;
        self.answer().await
    }
}

/// Waits until this has been tried on the disk.
async fn tried(disk: &WatchedDisk, what: &str) {
    while !disk.journal().contains(&what) {
        tokio::time::sleep(Duration::from_millis(1)).await;
    }
}

/// Lets a tester ask a car with a code, whose memory is kept on `disk`; what the run said meanwhile.
async fn with_tester<F: Future<Output = ()>>(
    disk: &WatchedDisk,
    tester: impl FnOnce(Asker) -> F,
) -> Vec<&'static str> {
    let folder = tempfile::tempdir().expect("folder");
    let name: Name = format!("local:kept-{}-{:p}", std::process::id(), disk)
        .parse()
        .expect("a name");
    let simulator = car(&["key on", "preload confirmed P0301"]);
    let bus = Bus::host(&name).expect("bus");
    let control = ControlServer::bind(&folder.path().join("control")).expect("control socket");
    let mut run = Run::new(simulator, bus, control, Pace::Live).expect("signals");
    let options = Options {
        durable: true,
        ..Options::default()
    };
    let file = open_watched(&folder.path().join("car.memory"), options, disk);
    run.keep_memory_in(file).expect("written");
    disk.journal();
    let mut said = Vec::new();
    let asked = async { tester(Asker(Bus::join(&name).await.expect("joined"))).await };
    tokio::select! {
        _ = run.drive(None, |notice| match notice {
            Notice::MemoryNotKept(_) => said.push("not kept"),
            Notice::MemoryKept => said.push("kept"),
            _ => {}
        }) => panic!("the run ended"),
        () = asked => {}
    }
    said
}

#[tokio::test(flavor = "current_thread")]
async fn an_answer_leaves_once_the_disk_has_its_effect() {
    let disk = WatchedDisk::default();
    let watched = disk.clone();
    let said = with_tester(&disk, async move |mut tester| {
        assert_eq!(tester.ask(0x03).await, 0x43);
        assert!(watched.journal().is_empty(), "nothing has changed");
        assert_eq!(tester.ask(0x04).await, 0x44);
        assert_eq!(watched.journal(), ["write", "sync file", "rename", "sync folder"]);
        assert_eq!(tester.ask(0x03).await, 0x43);
        assert!(watched.journal().is_empty(), "it is kept");
    })
    .await;
    assert!(said.is_empty(), "{said:?}");
}

/// Wherever the disk fails, nothing is told that is not kept; once it works again, the car answers.
#[tokio::test(flavor = "current_thread")]
async fn a_car_whose_memory_cannot_be_kept_is_silent_until_it_can() {
    for what in ["write", "sync file", "rename", "sync folder"] {
        let disk = WatchedDisk::default();
        let failing = disk.clone();
        let said = with_tester(&disk, async move |mut tester| {
            assert_eq!(tester.ask(0x03).await, 0x43, "{what}");
            failing.fail_at(Some(what));
            assert_eq!(tester.ask(0x03).await, 0x43, "{what}: this is kept");
            for service in [0x04, 0x07] {
                tester.question(service).await;
                tried(&failing, what).await;
            }
            failing.fail_at(None);
            assert_eq!(
                tester.ask(0x03).await,
                0x43,
                "{what}: neither the clear nor what it left was told"
            );
            assert_eq!(tester.ask(0x04).await, 0x44, "{what}");
            // The loop has a turn to say that all is well.
            tokio::time::sleep(Duration::from_millis(50)).await;
        })
        .await;
        assert_eq!(said, ["not kept", "kept"], "{what}");
    }
}

/// A change that nobody asks about is brought to the file by itself, and so is the last state at the end.
#[tokio::test(flavor = "current_thread")]
async fn changes_are_kept_without_a_question_and_at_the_end() {
    let folder = tempfile::tempdir().expect("folder");
    let path = folder.path().join("car.memory");
    let name: Name = format!("local:end-{}", std::process::id())
        .parse()
        .expect("a name");
    let simulator = car(&["key on"]);
    let bus = Bus::host(&name).expect("bus");
    let control = ControlServer::bind(&folder.path().join("control")).expect("control socket");
    let mut run = Run::new(simulator, bus, control, Pace::Max).expect("signals");
    let disk = WatchedDisk::default();
    run.keep_memory_in(open_watched(&path, Options::default(), &disk))
        .expect("written");
    run.simulator.tell_phrase(
        BusInstant::ZERO,
        parse_phrase("preload confirmed P0301").expect("a phrase"),
    );
    let text = || std::fs::read_to_string(&path).expect("there");
    let mut seen = false;
    let ended = run.drive(Some(Duration::from_millis(100)), |notice| {
        if let Notice::Event(Event::Memory { .. }) = notice {
            seen |= text().contains("P0301");
        }
    });
    assert_eq!(ended.await.expect("a bus"), Ending::TimeOver);
    assert!(seen, "what is shown is in the file");
    disk.journal();
    run.let_go_of_memory().expect("written");
    assert_eq!(disk.journal(), ["write", "rename"], "learned values too");
    let mut next = Simulator::new(twotrip_sim::Settings::compact(1, Timing::FAST));
    let (file, content) = crate::memory_file::MemoryFile::open(&path, Options::default()).expect("free");
    file.fit(&content.expect("a content"), &mut next)
        .expect("it fits");
    assert_eq!(next.store(), run.simulator.store());
}
