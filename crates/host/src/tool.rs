//! A program of the user's beside a car: started without a shell, its output kept within bounds, and ended together with
//! everything that it has started.
//!
//! It gets a process group of its own (setpgid(2)), so that one signal reaches all of it; a process that leaves the group
//! is its own affair. Its standard input is empty, both its outputs go into one pipe, in the order in which they are written.

use std::{
    collections::VecDeque,
    ffi::OsString,
    fmt,
    io::{self, ErrorKind},
    os::{fd::OwnedFd, unix::process::ExitStatusExt as _},
    process::{ExitStatus, Stdio},
    time::Duration,
};

use rustix::process::{Pid, Signal, kill_process_group};
use tokio::{
    io::AsyncReadExt as _,
    net::unix::pipe::Receiver,
    process::{Child, Command},
    time::{sleep, timeout},
};

/// Bytes of the output that are kept, of its beginning and of its end.
const HEAD: usize = 1 << 20;
const TAIL: usize = 1 << 20;
/// How long it may take to end once it has been asked to.
const GRACE: Duration = Duration::from_secs(2);
/// How long its last words are waited for: what it has started may hold the pipe open.
const LAST_WORDS: Duration = Duration::from_millis(200);

/// How a program ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ended {
    /// By itself, with this status.
    Exit(i32),
    /// By this signal.
    Signal(i32),
    /// It was ended when it had run for so long.
    TimedOut(Duration),
}

impl Ended {
    /// Whether it says of itself that all is well.
    #[must_use]
    pub const fn is_success(self) -> bool {
        matches!(self, Self::Exit(0))
    }
}

impl fmt::Display for Ended {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Exit(code) => write!(f, "exit status {code}"),
            Self::Signal(signal) => write!(f, "ended by signal {signal}"),
            Self::TimedOut(limit) => write!(f, "not done after {limit:?}, and ended then"),
        }
    }
}

impl From<ExitStatus> for Ended {
    fn from(status: ExitStatus) -> Self {
        match (status.code(), status.signal()) {
            (Some(code), _) => Self::Exit(code),
            (None, signal) => Self::Signal(signal.unwrap_or(0)),
        }
    }
}

/// What a program has said, its middle left out where it was too much.
#[derive(Clone, Debug, Default)]
pub struct Said {
    head: Vec<u8>,
    tail: VecDeque<u8>,
    left_out: u64,
}

impl Said {
    fn take(&mut self, mut bytes: &[u8]) {
        let room = HEAD - self.head.len();
        let (first, rest) = bytes.split_at(room.min(bytes.len()));
        self.head.extend_from_slice(first);
        bytes = rest;
        let over = (self.tail.len() + bytes.len()).saturating_sub(TAIL);
        self.left_out += over as u64;
        self.tail.drain(..over.min(self.tail.len()));
        self.tail.extend(&bytes[bytes.len().saturating_sub(TAIL)..]);
    }

    /// Bytes that are left out of [`Self::bytes`].
    #[must_use]
    pub const fn left_out(&self) -> u64 {
        self.left_out
    }

    /// What is kept; a line says where something is missing.
    #[must_use]
    pub fn bytes(&self) -> Vec<u8> {
        let mut bytes = self.head.clone();
        if self.left_out > 0 {
            bytes.extend_from_slice(format!("\n[{} bytes left out]\n", self.left_out).as_bytes());
        }
        bytes.extend(&self.tail);
        bytes
    }
}

/// A running program. Whoever drops it ends the program, not what that has started: call [`Self::end`].
#[derive(Debug)]
pub struct Tool {
    child: Child,
    group: Option<Pid>,
    output: Receiver,
    is_open: bool,
    said: Said,
}

impl Tool {
    /// Starts a program: the first word names it, as execvp(3) finds it, the others are its arguments as they are. Within a
    /// tokio runtime.
    ///
    /// # Errors
    /// What the system says if there is no such program, or no room for it.
    pub fn start(
        words: &[OsString],
        environment: impl IntoIterator<Item = (&'static str, OsString)>,
    ) -> io::Result<Self> {
        let [program, arguments @ ..] = words else {
            return Err(io::Error::new(ErrorKind::InvalidInput, "no program is named"));
        };
        let (output, written) = io::pipe()?;
        let child = Command::new(program)
            .args(arguments)
            .envs(environment)
            .stdin(Stdio::null())
            .stdout(written.try_clone()?)
            .stderr(written)
            .process_group(0)
            .kill_on_drop(true)
            .spawn()?;
        let group = child.id().and_then(|id| Pid::from_raw(i32::try_from(id).ok()?));
        Ok(Self {
            child,
            group,
            output: Receiver::from_owned_fd(OwnedFd::from(output))?,
            is_open: true,
            said: Said::default(),
        })
    }

    /// Waits until it ends, and ends it when its time is over. Cancel safe, but that the time then begins anew.
    ///
    /// # Errors
    /// What the system says if it cannot be waited for.
    pub async fn wait(&mut self, limit: Duration) -> io::Result<Ended> {
        let ended = {
            let mut over = std::pin::pin!(sleep(limit));
            loop {
                tokio::select! {
                    biased;
                    status = self.child.wait() => break Some(Ended::from(status?)),
                    () = &mut over => break None,
                    () = listen(&mut self.output, &mut self.said, &mut self.is_open), if self.is_open => {}
                }
            }
        };
        self.end().await;
        Ok(ended.unwrap_or(Ended::TimedOut(limit)))
    }

    /// Ends it and what it has started: asks first, and waits a little.
    pub async fn end(&mut self) {
        if self.signal(Signal::TERM) {
            let mut over = std::pin::pin!(sleep(GRACE));
            loop {
                tokio::select! {
                    _ = self.child.wait() => break,
                    () = &mut over => break,
                    () = listen(&mut self.output, &mut self.said, &mut self.is_open), if self.is_open => {}
                }
            }
            self.signal(Signal::KILL);
            // Its end is certain now; it may have been waited for already.
            let _ = self.child.wait().await;
        }
        self.group = None;
        let last = async {
            while self.is_open {
                listen(&mut self.output, &mut self.said, &mut self.is_open).await;
            }
        };
        // Who has left the group may go on and talk.
        let _ = timeout(LAST_WORDS, last).await;
    }

    /// Whether somebody was there to hear it.
    fn signal(&self, signal: Signal) -> bool {
        self.group
            .is_some_and(|group| kill_process_group(group, signal).is_ok())
    }

    /// What it has said so far.
    #[must_use]
    pub const fn said(&self) -> &Said {
        &self.said
    }
}

/// Takes a piece of the output. Cancel safe.
async fn listen(output: &mut Receiver, said: &mut Said, is_open: &mut bool) {
    let mut piece = [0; 1 << 14];
    match output.read(&mut piece).await {
        Ok(0) => *is_open = false,
        Ok(count) => said.take(&piece[..count]),
        Err(error) if error.kind() == ErrorKind::Interrupted => {}
        Err(_) => *is_open = false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_support::run;

    const LONG: Duration = Duration::from_secs(60);

    fn start(words: &[&str]) -> io::Result<Tool> {
        let words: Vec<OsString> = words.iter().map(OsString::from).collect();
        Tool::start(&words, [("TWOTRIP_TEST", "a b".into())])
    }

    async fn ran(words: &[&str], limit: Duration) -> (Ended, String) {
        let mut tool = start(words).expect("started");
        let ended = tool.wait(limit).await.expect("waited for");
        (ended, String::from_utf8(tool.said().bytes()).expect("UTF-8"))
    }

    #[test]
    fn status_signal_and_both_outputs_are_told_and_arguments_are_taken_as_they_are() {
        run(async {
            let script = "echo out \"$1\" \"$TWOTRIP_TEST\"; echo err >&2; cat; exit 3";
            let found = ran(&["sh", "-c", script, "x", "$(touch no); *"], LONG).await;
            assert_eq!(
                found,
                (Ended::Exit(3), "out $(touch no); * a b\nerr\n".to_owned())
            );
            assert_eq!(ran(&["sh", "-c", "kill -9 $$"], LONG).await.0, Ended::Signal(9));
            let missing = start(&["/nonexistent/tool"]).expect_err("no such program");
            assert_eq!(missing.kind(), ErrorKind::NotFound);
            assert!(start(&[]).is_err());
        });
    }

    #[test]
    fn what_takes_too_long_is_ended_with_everything_that_it_has_started() {
        run(async {
            let limit = Duration::from_millis(300);
            // One process that does not want to, and one behind it.
            let script = "trap '' TERM; sleep 1000 & echo $! $$; while :; do sleep 1; done";
            let (ended, said) = ran(&["sh", "-c", script], limit).await;
            assert_eq!(ended, Ended::TimedOut(limit));
            for id in said.split_whitespace() {
                let state = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap_or_default();
                assert!(
                    state.is_empty() || state.contains(") Z "),
                    "{id} is still there: {state}"
                );
            }
            // A process left behind holds the pipe: nobody waits for it.
            let (ended, said) = ran(&["sh", "-c", "sleep 1000 & echo done"], LONG).await;
            assert_eq!((ended, said.as_str()), (Ended::Exit(0), "done\n"));
        });
    }

    #[test]
    fn of_endless_output_beginning_and_end_are_kept() {
        let mut said = Said::default();
        said.take(&[b'a'; HEAD - 1]);
        said.take(b"bc");
        assert_eq!((said.left_out(), said.bytes().len()), (0, HEAD + 1));
        said.take(&[b'd'; TAIL + 5]);
        said.take(b"e");
        assert_eq!(said.left_out(), 7);
        let bytes = said.bytes();
        assert!(bytes.starts_with(b"aa") && bytes[HEAD - 1] == b'b' && bytes.ends_with(b"de"));
        assert!(String::from_utf8_lossy(&bytes).contains("\n[7 bytes left out]\n"));
    }
}
