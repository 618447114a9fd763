//! Waits for the end of a process that is not ours to wait for: by a descriptor of it (pidfd_open(2), Linux 5.3), which names
//! this process for good, and not the next one with its number.

use std::{future::Future, io, os::fd::OwnedFd};

use rustix::{
    io::Errno,
    process::{Pid, PidfdFlags, pidfd_open},
};

use crate::sys;

/// Ready when the process has ended; at once if there is none. Within a tokio runtime.
///
/// # Errors
/// What the system says if it cannot be watched.
pub(crate) fn of(process: u32) -> io::Result<impl Future<Output = ()>> {
    let descriptor = open(process)?;
    let watched = descriptor.map(sys::watch_process).transpose()?;
    Ok(async move {
        if let Some(watched) = watched {
            // An error is nothing that could be waited for either.
            let _ = watched.readable().await;
        }
    })
}

/// `None` if there is no such process.
fn open(process: u32) -> io::Result<Option<OwnedFd>> {
    let Some(process) = i32::try_from(process).ok().and_then(Pid::from_raw) else {
        return Ok(None);
    };
    match pidfd_open(process, PidfdFlags::empty()) {
        Ok(descriptor) => Ok(Some(descriptor)),
        Err(Errno::SRCH) => Ok(None),
        Err(error) => Err(error.into()),
    }
}

#[cfg(test)]
mod tests {
    use std::process::Command;

    use super::*;
    use crate::test_support::run;

    #[test]
    fn the_end_of_a_process_is_noticed_and_that_of_none_at_once() {
        run(async {
            let mut child = Command::new("sleep").arg("1000").spawn().expect("started");
            let id = child.id();
            let mut ended = std::pin::pin!(of(id).expect("watched"));
            let soon = std::time::Duration::from_millis(20);
            assert!(tokio::time::timeout(soon, &mut ended).await.is_err());
            child.kill().expect("our child");
            ended.await;
            child.wait().expect("our child");
            of(id).expect("nothing to watch").await;
            of(0).expect("no process").await;
        });
    }
}
