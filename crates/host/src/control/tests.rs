//! Both sides of the control socket against each other, and against clients that misbehave.

use tokio::{
    io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader},
    net::UnixStream,
    task::{JoinHandle, spawn_local},
};

use super::*;
use crate::test_support::{folder, run};

/// A car that answers each phrase with one progress line and the phrase itself, until its task is dropped.
fn car(path: &std::path::Path) -> JoinHandle<()> {
    let mut server = ControlServer::bind(path).expect("bound");
    spawn_local(async move {
        loop {
            let request = server.next().await;
            let Wish::Phrase(phrase) = request.wish else {
                let state = Box::new(serde_json::json!({ "key_on": true }));
                server.reply(request.id, &Reply::Snapshot(state));
                continue;
            };
            let progress = Progress {
                text: format!("begun {phrase}"),
                fraction: Some(0.5),
            };
            server.reply(request.id, &Reply::Progress(progress));
            let outcome = match phrase.as_str() {
                "fail" => Outcome::refused("cannot"),
                "long" => Outcome {
                    lines: vec!["x".repeat(700_000)],
                    ..Outcome::done("long")
                },
                "endless" => Outcome {
                    lines: vec!["x".repeat(ANSWER_MAX)],
                    ..Outcome::done("endless")
                },
                phrase => Outcome::done(phrase),
            };
            server.reply(request.id, &Reply::Outcome(outcome));
        }
    })
}

async fn raw_line(stream: &mut BufReader<UnixStream>) -> String {
    let mut line = String::new();
    stream.read_line(&mut line).await.expect("read");
    line
}

#[test]
fn a_phrase_gets_its_progress_and_one_outcome() {
    run(async {
        let (_base, folder) = folder();
        let path = default_path(&Name::Interface("vcan0".to_owned()), &folder);
        let _car = car(&path);
        let mut client = ControlClient::find(None, &folder).await.expect("the only one");
        let mut seen = Vec::new();
        let outcome = client
            .tell("tighten fuel-cap", |progress| seen.push(progress.clone()))
            .await;
        assert_eq!(outcome.expect("answered"), Outcome::done("tighten fuel-cap"));
        assert_eq!(seen.len(), 1);
        assert_eq!(
            (seen[0].text.as_str(), seen[0].fraction),
            ("begun tighten fuel-cap", Some(0.5))
        );
        let outcome = client.tell("fail", |_| {}).await.expect("answered");
        assert_eq!(outcome, Outcome::refused("cannot"));
        let odd = "two\nlines \u{1F697} \"quoted\"";
        assert_eq!(client.tell(odd, |_| {}).await.expect("answered").text, odd);
    });
}

#[test]
fn long_answers_arrive_and_endless_ones_say_what_is_missing() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let _car = car(&path);
        let mut client = ControlClient::connect(&path).await.expect("connected");
        let outcome = client.tell("long", |_| {}).await.expect("answered");
        assert_eq!(outcome.lines[0].len(), 700_000);
        let outcome = client.tell("endless", |_| {}).await.expect("answered");
        assert!(
            outcome.ok && outcome.lines[0].starts_with("left out"),
            "{:?}",
            outcome.lines
        );
    });
}

#[test]
fn phrases_sent_ahead_are_answered_in_order_and_clients_do_not_mix() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let mut server = ControlServer::bind(&path).expect("bound");
        let mut eager = BufReader::new(UnixStream::connect(&path).await.expect("connected"));
        let lines = b"{\"phrase\":\"a\"}\n{\"phrase\":\"b\"}\n";
        eager.write_all(lines).await.expect("sent");
        let first = server.next().await;
        assert_eq!(first.wish, Wish::Phrase("a".into()));
        let mut other = BufReader::new(UnixStream::connect(&path).await.expect("connected"));
        other.write_all(b"{\"phrase\":\"c\"}\n").await.expect("sent");
        let second = server.next().await;
        assert_eq!(
            second.wish,
            Wish::Phrase("c".into()),
            "b waits until a has its outcome"
        );
        server.reply(second.id, &Reply::Outcome(Outcome::done("c done")));
        server.reply(first.id, &Reply::Outcome(Outcome::done("a done")));
        server.reply(first.id, &Reply::Outcome(Outcome::done("a twice")));
        let third = server.next().await;
        assert_eq!(third.wish, Wish::Phrase("b".into()));
        server.reply(third.id, &Reply::Outcome(Outcome::done("b done")));
        server.finish().await;
        assert_eq!(
            raw_line(&mut eager).await,
            "{\"outcome\":\"a done\",\"ok\":true}\n"
        );
        assert_eq!(
            raw_line(&mut eager).await,
            "{\"outcome\":\"b done\",\"ok\":true}\n"
        );
        assert_eq!(
            raw_line(&mut other).await,
            "{\"outcome\":\"c done\",\"ok\":true}\n"
        );
    });
}

#[test]
fn nonsense_is_answered_and_an_overlong_line_ends_the_client() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let _car = car(&path);
        let mut client = BufReader::new(UnixStream::connect(&path).await.expect("connected"));
        client
            .write_all(b"key on\n{\"phrase\":\"x\"}\n")
            .await
            .expect("sent");
        let answer = raw_line(&mut client).await;
        assert!(
            answer.contains("not understood") && answer.contains("\"ok\":false"),
            "{answer}"
        );
        assert!(
            raw_line(&mut client).await.contains("begun x"),
            "the next line is read afresh"
        );
        assert!(raw_line(&mut client).await.contains("\"ok\":true"));
        client.write_all(&vec![b'x'; LINE_MAX]).await.expect("sent");
        let answer = raw_line(&mut client).await;
        assert!(answer.contains("65536"), "{answer}");
        assert_eq!(raw_line(&mut client).await, "", "closed");
        let mut client = ControlClient::connect(&path).await.expect("connected");
        let error = client
            .tell(&"x".repeat(LINE_MAX), |_| {})
            .await
            .expect_err("too long");
        assert!(matches!(error, ControlError::TooLong { .. }), "{error}");
        assert!(client.tell("still there", |_| {}).await.expect("answered").ok);
    });
}

#[test]
fn dead_and_deaf_clients_do_not_stop_the_others() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let _car = car(&path);
        let mut deaf = UnixStream::connect(&path).await.expect("connected");
        for _ in 0..200 {
            deaf.write_all(b"{\"phrase\":\"long\"}\n").await.expect("sent");
        }
        let mut dead = UnixStream::connect(&path).await.expect("connected");
        dead.write_all(b"{\"phrase\":\"half").await.expect("sent");
        drop(dead);
        let mut hasty = UnixStream::connect(&path).await.expect("connected");
        hasty
            .write_all(b"{\"phrase\":\"gone before the answer\"}\n")
            .await
            .expect("sent");
        drop(hasty);
        let mut client = ControlClient::connect(&path).await.expect("connected");
        for _ in 0..3 {
            assert!(client.tell("key on", |_| {}).await.expect("answered").ok);
        }
        let mut some = [0; 16];
        deaf.read_exact(&mut some).await.expect("its answers wait for it");
    });
}

#[test]
fn more_clients_than_there_is_room_for_are_turned_away() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let _car = car(&path);
        let mut clients = Vec::new();
        for _ in 0..MAX_CLIENTS {
            let mut client = ControlClient::connect(&path).await.expect("connected");
            assert!(client.tell("key on", |_| {}).await.expect("answered").ok);
            clients.push(client);
        }
        let mut late = ControlClient::connect(&path)
            .await
            .expect("the kernel lets it in");
        let error = late.tell("key on", |_| {}).await.expect_err("no room");
        assert!(matches!(error, ControlError::Closed { .. }), "{error}");
        clients.pop();
        let mut next = ControlClient::connect(&path).await.expect("connected");
        assert!(next.tell("key on", |_| {}).await.expect("room again").ok);
    });
}

#[test]
fn without_a_path_the_only_car_is_found_and_several_are_listed() {
    run(async {
        let (_base, folder) = folder();
        let none = ControlClient::find(None, &folder).await.expect_err("none");
        assert!(matches!(none, ControlError::NoneRunning), "{none}");
        drop(std::os::unix::net::UnixListener::bind(folder.socket("control", "dead")).expect("bound"));
        let none = ControlClient::find(None, &folder)
            .await
            .expect_err("a dead one does not count");
        assert!(matches!(none, ControlError::NoneRunning), "{none}");
        let _first = car(&default_path(&Name::Interface("vcan0".to_owned()), &folder));
        assert!(ControlClient::find(None, &folder).await.is_ok());
        let second = default_path(&Name::Local("bench".to_owned()), &folder);
        let _second = car(&second);
        let error = ControlClient::find(None, &folder)
            .await
            .expect_err("two")
            .to_string();
        assert!(error.contains("`local:bench`, `vcan0`"), "{error}");
        assert!(error.contains(&second.display().to_string()), "{error}");
        assert!(ControlClient::find(Some(&second), &folder).await.is_ok());
        let missing = folder.socket("control", "missing");
        let error = ControlClient::find(Some(&missing), &folder)
            .await
            .expect_err("none there")
            .to_string();
        assert!(
            error.contains("twotrip run") && error.contains("`vcan0`"),
            "{error}"
        );
    });
}

#[test]
fn the_socket_goes_with_the_car_and_a_second_car_is_refused() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let server = ControlServer::bind(&path).expect("bound");
        let error = ControlServer::bind(&path).expect_err("taken").to_string();
        assert!(error.contains("already running"), "{error}");
        let mut client = ControlClient::connect(&path).await.expect("connected");
        drop(server);
        assert!(!path.exists());
        let error = client.tell("key on", |_| {}).await.expect_err("gone");
        assert!(matches!(error, ControlError::Closed { .. }), "{error}");
    });
}

#[test]
fn how_the_car_is_can_be_asked_and_what_happens_be_heard() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let mut server = ControlServer::bind(&path).expect("bound");
        let mut client = BufReader::new(UnixStream::connect(&path).await.expect("connected"));
        let lines = b"{\"events\":true}\n{\"snapshot\":true}\n{\"events\":false}\n{\"snapshot\":true}\n";
        client.write_all(lines).await.expect("sent");
        assert!(!server.is_heard());
        let asked = server.next().await;
        assert_eq!(asked.wish, Wish::Snapshot);
        assert!(server.is_heard());
        server.tell_event(&serde_json::json!({ "event": "car", "text": "key on" }));
        server.reply(
            asked.id,
            &Reply::Snapshot(Box::new(serde_json::json!({ "busy": false }))),
        );
        for line in [
            "{\"events\":true}\n",
            "{\"event\":\"car\",\"text\":\"key on\"}\n",
            "{\"snapshot\":{\"busy\":false}}\n",
        ] {
            assert_eq!(raw_line(&mut client).await, line);
        }
        let asked = server.next().await;
        assert!(!server.is_heard());
        server.reply(asked.id, &Reply::Snapshot(Box::default()));
        server.finish().await;
        assert_eq!(raw_line(&mut client).await, "{\"events\":false}\n");
        assert_eq!(raw_line(&mut client).await, "{\"snapshot\":null}\n");
        for line in ["{}", "{\"phrase\":\"x\",\"events\":true}", "{\"snapshot\":false}"] {
            client
                .write_all(format!("{line}\n").as_bytes())
                .await
                .expect("sent");
        }
        client.write_all(b"{\"phrase\":\"last\"}\n").await.expect("sent");
        server.next().await;
        for _ in 0..3 {
            assert!(raw_line(&mut client).await.contains("one thing at a time"));
        }
    });
}

#[test]
fn who_listens_and_does_not_read_misses_events_and_is_told_how_many() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let mut server = ControlServer::bind(&path).expect("bound");
        let mut client = BufReader::new(UnixStream::connect(&path).await.expect("connected"));
        client
            .write_all(b"{\"events\":true}\n{\"phrase\":\"x\"}\n")
            .await
            .expect("sent");
        let asked = server.next().await;
        let text = "x".repeat(1000);
        let sent = 5000;
        for _ in 0..sent {
            server.tell_event(&serde_json::json!({ "event": "car", "text": text }));
        }
        assert_eq!(raw_line(&mut client).await, "{\"events\":true}\n");
        let _serving = spawn_local(async move {
            server.reply(asked.id, &Reply::Outcome(Outcome::done("x")));
            let asked = server.next().await;
            server.tell_event(&serde_json::json!({ "event": "car", "text": "last" }));
            server.reply(asked.id, &Reply::Snapshot(Box::default()));
            server.next().await;
        });
        let (mut heard, mut missed) = (0, 0);
        loop {
            let line: serde_json::Value = serde_json::from_str(&raw_line(&mut client).await).expect("JSON");
            match line["event"].as_str() {
                Some("missed") => missed += line["events"].as_u64().expect("a count"),
                Some(_) if line["text"] == "last" => break,
                Some(_) => heard += 1,
                None => client.write_all(b"{\"snapshot\":true}\n").await.expect("sent"),
            }
        }
        assert!(missed > 0);
        assert_eq!(heard + missed, sent);
    });
}

#[test]
fn a_client_asks_for_a_snapshot() {
    run(async {
        let (_base, folder) = folder();
        let path = folder.socket("control", "vcan0");
        let _car = car(&path);
        let mut client = ControlClient::connect(&path).await.expect("connected");
        assert_eq!(client.snapshot().await.expect("answered")["key_on"], true);
        assert!(client.tell("key on", |_| {}).await.expect("answered").ok);
    });
}
