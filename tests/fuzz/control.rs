//! The control protocol: whatever a program writes into the socket of a running car.

use std::{cell::RefCell, path::PathBuf};

use tokio::{
    io::{AsyncReadExt as _, AsyncWriteExt as _},
    net::UnixStream,
    runtime::Runtime,
};
use twotrip_host::control::{ControlServer, Outcome, Reply, Wish};

use crate::target::Target;

pub(crate) fn target() -> Target {
    let lines = [
        r#"{"phrase":"key on"}"#,
        r#"{"phrase":"drive udds"}"#,
        r#"{"snapshot":true}"#,
        r#"{"events":true}"#,
        r#"{"phrase":"why P0455","extra":[1,2,{"a":null}]}"#,
    ];
    let mut examples: Vec<Vec<u8>> = lines
        .iter()
        .map(|line| format!("{line}\n").into_bytes())
        .collect();
    examples.push(lines.join("\n").into_bytes());
    examples.push(vec![b'['; 3000]);
    Target {
        name: "control protocol",
        inputs: 4_000,
        longest: 100_000,
        memory: 1024 * 1024,
        examples,
        feed,
    }
}

/// A wish behind everything, and the end of its answer.
const LAST: &[u8] = b"\n{\"snapshot\":true}\n";
const ANSWERED: &[u8] = b"\"last\"}}\n";

struct Car {
    runtime: Runtime,
    server: ControlServer,
    path: PathBuf,
    _folder: tempfile::TempDir,
}

thread_local! {
    static CAR: RefCell<Option<Car>> = const { RefCell::new(None) };
}

fn car() -> Car {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("a runtime");
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("car.sock");
    let server = runtime
        .block_on(async { ControlServer::bind(&path) })
        .expect("bound");
    Car {
        runtime,
        server,
        path,
        _folder: folder,
    }
}

fn feed(input: &[u8]) -> usize {
    CAR.with_borrow_mut(|slot| {
        let Car {
            runtime,
            server,
            path,
            ..
        } = slot.get_or_insert_with(car);
        runtime.block_on(async {
            let client = async {
                let mut stream = UnixStream::connect(path).await.expect("it listens");
                // It may hang up on us. Who listens to events stays: the last wish shows that all was read.
                let _ = stream.write_all(input).await;
                let _ = stream.write_all(LAST).await;
                let _ = stream.shutdown().await;
                let mut answers = Vec::new();
                while let Ok(1..) = stream.read_buf(&mut answers).await {
                    if answers.ends_with(ANSWERED) {
                        break;
                    }
                }
                answers
            };
            let mut client = std::pin::pin!(client);
            let mut wishes = 0;
            loop {
                tokio::select! {
                    biased;
                    answers = &mut client => {
                        let lines = answers.split(|&byte| byte == b'\n');
                        for line in lines.filter(|line| !line.is_empty()) {
                            assert!(serde_json::from_slice::<serde_json::Value>(line).is_ok(), "{line:?}");
                        }
                        return 10 * wishes + answers.len().min(9);
                    }
                    request = server.next() => {
                        wishes += 1;
                        let reply = match request.wish {
                            Wish::Phrase(phrase) => Reply::Outcome(Outcome::refused(phrase)),
                            Wish::Snapshot => Reply::Snapshot(Box::new(serde_json::json!({ "is": "last" }))),
                        };
                        server.reply(request.id, &reply);
                    }
                }
            }
        })
    })
}
