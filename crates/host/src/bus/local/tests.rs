//! Cars, clients and misfits on one embedded bus.

use std::{os::unix::net::UnixListener as StdListener, time::Duration};

use tokio::{
    io::{AsyncReadExt, AsyncWriteExt},
    net::UnixStream,
    task::spawn_local,
    time::timeout,
};
use twotrip_can::{CanId, Frame};

use super::{backlog::RECORDS, *};
use crate::{
    bus::{BusError, BusEvent, Filter, Received, Sent},
    runtime_dir::{ClaimError, RuntimeDir},
    test_support::{folder, run},
};

fn frame(id: u16, byte: u8) -> Frame {
    Frame::padded(CanId::Standard(id), &[byte], 0xCC)
}

fn numbered(id: u16, number: u32) -> Frame {
    Frame::padded(CanId::Standard(id), &number.to_be_bytes(), 0)
}

fn number(frame: &Frame) -> u32 {
    let bytes = frame.data().first_chunk().expect("8 bytes");
    u32::from_be_bytes(*bytes)
}

fn received(event: BusEvent) -> Frame {
    match event {
        BusEvent::Frame(Received { frame, .. }) => frame,
        other => panic!("{other:?}"),
    }
}

/// Serves the bus until the other future is done; what comes for the car is thrown away.
async fn serving<T>(host: &mut Host, other: impl Future<Output = T>) -> T {
    serving_and_noting(host, other).await.0
}

/// The same; what came for the car comes second.
async fn serving_and_noting<T>(host: &mut Host, other: impl Future<Output = T>) -> (T, Vec<BusEvent>) {
    tokio::pin!(other);
    let mut events = Vec::new();
    loop {
        tokio::select! {
            biased;
            event = host.recv() => events.push(event.expect("a host never fails")),
            done = &mut other => return (done, events),
        }
    }
}

async fn join(host: &mut Host, folder: &RuntimeDir) -> Guest {
    let name = "test";
    serving(host, Guest::join(name, folder)).await.expect("joined")
}

#[test]
fn a_frame_reaches_everybody_but_its_sender() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut tester = join(&mut host, &folder).await;
        let mut recorder = join(&mut host, &folder).await;
        assert_eq!(host.clients(), 2);
        assert_eq!(tester.try_send(&frame(0x7DF, 1)).expect("open"), Sent::Handed);
        assert_eq!(received(host.recv().await.expect("request")), frame(0x7DF, 1));
        let since = host.sent().expect("our own programs say it").elapsed();
        assert!(
            since.as_ref().is_ok_and(|since| since.as_secs() < 60),
            "{since:?}"
        );
        host.send(&frame(0x7E8, 2));
        assert_eq!(received(recorder.recv().await.expect("request")), frame(0x7DF, 1));
        assert_eq!(received(recorder.recv().await.expect("answer")), frame(0x7E8, 2));
        assert_eq!(
            received(tester.recv().await.expect("answer, not its own request")),
            frame(0x7E8, 2)
        );
        assert_eq!(recorder.take_read(), None);
    });
}

#[test]
fn every_kind_of_frame_passes_and_filters_hold_back_the_rest() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut tester = join(&mut host, &folder).await;
        let mut recorder = join(&mut host, &folder).await;
        host.set_filters(&[Filter::exact(CanId::Standard(0x7DF))]);
        recorder.set_filters(&[Filter::exact(CanId::Extended(0x7DF))]);
        let extended = CanId::Extended(0x7DF);
        let fd = Frame::fd(extended, &[9; 64], true, false).expect("fits");
        let remote = Frame::remote(CanId::Standard(0x7DF), 2).expect("fits");
        for sent in [fd, remote, frame(0x123, 0), frame(0x7DF, 3)] {
            assert_eq!(tester.try_send(&sent).expect("open"), Sent::Handed);
        }
        assert_eq!(received(host.recv().await.expect("open")), frame(0x7DF, 3));
        assert_eq!(received(recorder.recv().await.expect("open")), fd);
        assert_eq!(recorder.take_read(), None);
    });
}

#[test]
fn a_slow_client_loses_frames_and_delays_nobody() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut slow = join(&mut host, &folder).await;
        let mut quick = join(&mut host, &folder).await;
        let total = 20_000;
        for n in 0..total {
            host.send(&numbered(0x7E8, n));
            if n % 100 == 99 {
                for expected in n - 99..=n {
                    let frame = serving(&mut host, quick.recv()).await.expect("open");
                    assert_eq!(number(&received(frame)), expected, "the quick one misses nothing");
                }
            }
        }
        let dropped = u32::try_from(host.dropped()).expect("few");
        assert!(dropped > 0, "20,000 records do not fit anywhere");
        let kept = total - dropped;
        assert!(kept >= u32::try_from(RECORDS).expect("few"), "kept {kept}");
        for expected in 0..kept {
            let frame = serving(&mut host, slow.recv()).await.expect("open");
            assert_eq!(
                number(&received(frame)),
                expected,
                "what was kept comes whole and in order"
            );
        }
        // linux/can/error.h: CAN_ERR_CRTL with CAN_ERR_CRTL_RX_OVERFLOW.
        let overflow = Frame::error(0x004, [0, 0x01, 0, 0, 0, 0, 0, 0]);
        let told = serving(&mut host, slow.recv()).await.expect("open");
        assert_eq!(
            received(told),
            overflow,
            "it is told in the place of what it lost"
        );
        host.send(&numbered(0x7E8, total));
        let frame = serving(&mut host, slow.recv()).await.expect("open");
        assert_eq!(number(&received(frame)), total, "and it is a full member again");
        assert_eq!(
            (slow.take_read(), quick.take_read()),
            (None, None),
            "told once, and nobody else"
        );
    });
}

#[test]
fn a_client_that_sends_faster_than_the_car_reads_is_told_to_wait_and_loses_nothing() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut tester = join(&mut host, &folder).await;
        let mut sent = 0;
        while tester.try_send(&numbered(0x7DF, sent)).expect("open") == Sent::Handed {
            sent += 1;
            assert!(sent < 1_000_000, "the stream fills up");
        }
        let writer = spawn_local(async move {
            for n in sent..sent + 5_000 {
                while tester.try_send(&numbered(0x7DF, n)).expect("open") == Sent::Later {
                    tester.writable().await.expect("open");
                }
            }
            tester
        });
        for expected in 0..sent + 5_000 {
            assert_eq!(number(&received(host.recv().await.expect("open"))), expected);
        }
        drop(writer.await.expect("done"));
    });
}

#[test]
fn a_loud_client_does_not_drown_a_quiet_one() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut loud = join(&mut host, &folder).await;
        let mut quiet = join(&mut host, &folder).await;
        while loud.try_send(&frame(0x123, 0)).expect("open") == Sent::Handed {}
        assert_eq!(quiet.try_send(&frame(0x7DF, 1)).expect("open"), Sent::Handed);
        let mut before = 0;
        while received(host.recv().await.expect("open")) != frame(0x7DF, 1) {
            before += 1;
        }
        assert!(before <= 64, "{before} frames of the loud one came first");
    });
}

#[test]
fn a_client_that_dies_in_the_middle_of_a_record_leaves_nothing_behind() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut tester = join(&mut host, &folder).await;
        let mut dying = UnixStream::connect(folder.socket(SOCKET_KIND, "test"))
            .await
            .expect("connected");
        dying.write_all(&hello("test")).await.expect("sent");
        let mut answer = [0; 72];
        serving(&mut host, dying.read_exact(&mut answer))
            .await
            .expect("hello");
        assert_eq!(answer, hello("test"));
        dying
            .write_all(&record::encode(&frame(0x7DF, 1)))
            .await
            .expect("sent");
        dying
            .write_all(&record::encode(&frame(0x7DF, 2))[..40])
            .await
            .expect("sent");
        drop(dying);
        assert_eq!(
            received(host.recv().await.expect("the whole one")),
            frame(0x7DF, 1)
        );
        assert_eq!(tester.try_send(&frame(0x7DF, 3)).expect("open"), Sent::Handed);
        assert_eq!(received(host.recv().await.expect("in step")), frame(0x7DF, 3));
        let idle = timeout(Duration::from_millis(1), host.recv()).await;
        assert!(idle.is_err(), "nothing of the half record");
        assert_eq!(host.clients(), 1);
    });
}

#[test]
fn a_record_that_is_no_frame_ends_only_its_sender() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut tester = join(&mut host, &folder).await;
        let mut broken = UnixStream::connect(folder.socket(SOCKET_KIND, "test"))
            .await
            .expect("connected");
        broken.write_all(&hello("test")).await.expect("sent");
        broken.write_all(&[0xFF; 72]).await.expect("sent");
        let mut bytes = Vec::new();
        let (closed, told) = serving_and_noting(&mut host, broken.read_to_end(&mut bytes)).await;
        closed.expect("closed");
        assert_eq!(bytes, hello("test"));
        let why = RecordError::Length {
            found: 0xFF,
            allowed: 64,
        };
        assert_eq!(told, [BusEvent::TurnedAway(TurnedAway::NotAFrame(why))]);
        assert_eq!(tester.try_send(&frame(0x7DF, 3)).expect("open"), Sent::Handed);
        assert_eq!(received(host.recv().await.expect("in step")), frame(0x7DF, 3));
    });
}

#[test]
fn records_may_arrive_byte_by_byte() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut trickle = UnixStream::connect(folder.socket(SOCKET_KIND, "test"))
            .await
            .expect("connected");
        let writer = spawn_local(async move {
            let bytes = [hello("test"), record::encode(&frame(0x7DF, 1))].concat();
            for byte in bytes {
                trickle.write_all(&[byte]).await.expect("sent");
                tokio::task::yield_now().await;
            }
            trickle
        });
        assert_eq!(received(host.recv().await.expect("whole")), frame(0x7DF, 1));
        drop(writer.await.expect("done"));
    });
}

#[test]
fn another_version_is_named_on_both_sides() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut newer = UnixStream::connect(folder.socket(SOCKET_KIND, "test"))
            .await
            .expect("connected");
        let mut other = hello("test");
        other[7] = VERSION + 1;
        newer.write_all(&other).await.expect("sent");
        let mut bytes = Vec::new();
        let (closed, told) = serving_and_noting(&mut host, newer.read_to_end(&mut bytes)).await;
        closed.expect("closed");
        assert_eq!(bytes, hello("test"), "told our version, then closed");
        assert_eq!(
            told,
            [BusEvent::TurnedAway(TurnedAway::OtherVersion(VERSION + 1))]
        );

        let listener = StdListener::bind(folder.socket(SOCKET_KIND, "newer")).expect("bound");
        let car = std::thread::spawn(move || {
            use std::io::{Read, Write};
            let (mut stream, _) = listener.accept().expect("accepted");
            let mut greeting = [0; 72];
            stream.read_exact(&mut greeting).expect("hello");
            greeting[7] = 9;
            stream.write_all(&greeting).expect("answered");
        });
        let error = Guest::join("newer", &folder).await.expect_err("version 9");
        assert!(
            matches!(
                error,
                BusError::Version {
                    found: 9,
                    spoken: 1,
                    ..
                }
            ),
            "{error}"
        );
        car.join().expect("done");
    });
}

#[test]
fn a_car_that_never_greets_is_not_waited_for_for_ever() {
    run(async {
        let (_base, folder) = folder();
        let _stopped = Host::bind("test", &folder).expect("bound, and never polled");
        tokio::time::pause();
        let error = Guest::join("test", &folder).await.expect_err("no hello");
        assert!(matches!(error, BusError::NoAnswer { seconds: 5, .. }), "{error}");
    });
}

#[test]
fn a_name_has_one_car_and_a_bus_without_car_cannot_be_joined() {
    run(async {
        let (_base, folder) = folder();
        let host = Host::bind("test", &folder).expect("bound");
        let error = Host::bind("test", &folder).expect_err("taken");
        assert!(
            matches!(
                error,
                BusError::Claim {
                    source: ClaimError::Taken { .. },
                    ..
                }
            ),
            "{error}"
        );
        let error = Guest::join("other", &folder)
            .await
            .expect_err("no car")
            .to_string();
        assert!(
            error.contains("running: `test`") && error.contains("--bus local:other"),
            "{error}"
        );
        drop(host);
        assert!(
            folder.sockets(SOCKET_KIND).is_empty(),
            "the socket goes with the car"
        );
        drop(StdListener::bind(folder.socket(SOCKET_KIND, "test")).expect("left behind"));
        let error = Guest::join("test", &folder).await.expect_err("nobody listens");
        assert!(
            matches!(&error, BusError::NoCar { present, .. } if present.0.is_empty()),
            "what was left behind does not run: {error}"
        );
        assert!(Host::bind("test", &folder).is_ok(), "taken over");
    });
}

#[test]
fn the_end_of_the_car_reaches_its_clients_after_its_last_frame() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut tester = join(&mut host, &folder).await;
        host.send(&frame(0x7E8, 9));
        drop(host);
        assert_eq!(
            received(tester.recv().await.expect("sent before the end")),
            frame(0x7E8, 9)
        );
        assert!(matches!(tester.recv().await, Err(BusError::Closed { .. })));
        assert!(matches!(
            tester.try_send(&frame(0x7DF, 1)),
            Err(BusError::Closed { .. })
        ));
    });
}

#[test]
fn room_is_bounded_and_those_who_never_greet_make_way() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let path = folder.socket(SOCKET_KIND, "test");
        let mut silent = Vec::new();
        for _ in 0..MAX_CLIENTS {
            silent.push(UnixStream::connect(&path).await.expect("connected"));
            let _ = timeout(Duration::ZERO, host.recv()).await;
        }
        let mut guests = Vec::new();
        for _ in 0..MAX_CLIENTS {
            guests.push(join(&mut host, &folder).await);
        }
        assert_eq!(host.clients(), MAX_CLIENTS);
        let (refused, told) = serving_and_noting(&mut host, Guest::join("test", &folder)).await;
        let refused = refused.expect_err("no room").to_string();
        assert!(refused.contains("has `64` clients already"), "{refused}");
        assert_eq!(told, [BusEvent::TurnedAway(TurnedAway::Full)]);
        guests.pop();
        assert!(serving(&mut host, Guest::join("test", &folder)).await.is_ok());
    });
}

#[test]
fn who_says_no_hello_is_turned_away_and_the_car_is_told() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        for first in [hello("other"), record::encode(&frame(0x7DF, 1)), [b'G'; 72]] {
            let mut stranger = UnixStream::connect(folder.socket(SOCKET_KIND, "test"))
                .await
                .expect("connected");
            stranger.write_all(&first).await.expect("sent");
            assert_eq!(
                host.recv().await.expect("open"),
                BusEvent::TurnedAway(TurnedAway::NoHello)
            );
            let mut bytes = Vec::new();
            serving(&mut host, stranger.read_to_end(&mut bytes))
                .await
                .expect("closed");
            assert_eq!(bytes, hello("test"), "it is told what it has met");
        }
        assert_eq!(host.clients(), 0);
    });
}

/// As on a wire: one order for all, nobody hears himself, nothing is lost, however many talk at once.
#[test]
fn fifty_clients_talk_at_once_and_all_hear_the_same() {
    const CLIENTS: u16 = 50;
    const FRAMES: u32 = 20;
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut clients = Vec::new();
        for _ in 0..CLIENTS {
            clients.push(join(&mut host, &folder).await);
        }
        assert_eq!(host.clients(), usize::from(CLIENTS));
        for n in 0..FRAMES {
            for (client, id) in clients.iter_mut().zip(0x100..) {
                assert_eq!(client.try_send(&numbered(id, n)).expect("open"), Sent::Handed);
            }
        }
        let mut car = Vec::new();
        while car.len() < usize::from(CLIENTS) * FRAMES as usize {
            car.push(received(host.recv().await.expect("open")));
            host.send(&numbered(0x7E8, 0));
        }
        assert_eq!(host.dropped(), 0);
        for (client, id) in clients.iter_mut().zip(0x100..) {
            let mut heard = Vec::new();
            while heard.len() < car.len() - FRAMES as usize {
                let frame = received(serving(&mut host, client.recv()).await.expect("open"));
                if frame.id() != CanId::Standard(0x7E8) {
                    heard.push(frame);
                }
            }
            let others = car.iter().filter(|frame| frame.id() != CanId::Standard(id));
            assert!(
                heard.iter().eq(others),
                "client {id:X} hears the others in the car's order"
            );
        }
        // Each in turn, so that nobody waits for all that another has to say.
        for id in 0x100..0x100 + CLIENTS {
            let first = car.iter().position(|frame| frame.id() == CanId::Standard(id));
            assert!(
                first < Some(usize::from(CLIENTS) * 16),
                "client {id:X} comes first at {first:?}"
            );
        }
    });
}

#[test]
fn whatever_strangers_send_the_members_talk_on() {
    run(async {
        let (_base, folder) = folder();
        let mut host = Host::bind("test", &folder).expect("bound");
        let mut tester = join(&mut host, &folder).await;
        // Bytes as good as random: the high byte of a linear congruential generator.
        let mut state: u32 = 1;
        let mut random = || {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            state.to_be_bytes()[0]
        };
        let mut staying = Vec::new();
        for n in 0..300 {
            let mut stranger = UnixStream::connect(folder.socket(SOCKET_KIND, "test"))
                .await
                .expect("connected");
            let mut junk = Vec::new();
            if n % 3 > 0 {
                junk.extend(hello("test"));
            }
            for _ in 0..random() {
                junk.push(random());
                // Whole frames among it, so that what follows is met in step too.
                if random() < 4 {
                    junk.extend(record::encode(&frame(0x123, random())));
                }
            }
            // It may be thrown out before it has said all.
            let _ = stranger.write_all(&junk).await;
            if n % 2 == 0 {
                staying.push(stranger);
            }
            assert_eq!(tester.try_send(&numbered(0x7DF, n)).expect("open"), Sent::Handed);
            loop {
                let event = host.recv().await.expect("open");
                if matches!(event, BusEvent::Frame(Received { frame, .. }) if frame == numbered(0x7DF, n)) {
                    break;
                }
            }
        }
        assert!(host.clients() < MAX_CLIENTS);
    });
}
