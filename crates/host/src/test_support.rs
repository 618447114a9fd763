//! What the tests of several modules share.

use std::{future::Future, time::Duration};

use tokio::time::timeout;

use crate::runtime_dir::RuntimeDir;

/// Runs a test in the kind of runtime that the program uses; a hang is a failure.
pub(crate) fn run(test: impl Future<Output = ()>) {
    let runtime = tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .expect("runtime");
    let local = tokio::task::LocalSet::new();
    local.block_on(&runtime, async {
        timeout(Duration::from_secs(20), test).await.expect("no hang");
    });
}

/// A private folder for sockets that goes with its first half.
pub(crate) fn folder() -> (tempfile::TempDir, RuntimeDir) {
    let base = tempfile::tempdir().expect("folder");
    let folder = RuntimeDir::at(base.path().join("run")).expect("private folder");
    (base, folder)
}
