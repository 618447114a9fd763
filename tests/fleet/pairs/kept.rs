//! What was driven, kept in the folder `TWOTRIP_KEEP`, so that a job that was stopped goes on where it was: a line for each
//! fault, part of the examination and reading, with mean and scatter.

use std::{
    collections::BTreeMap,
    fs::{self, OpenOptions},
    io::Write as _,
    path::PathBuf,
};

use super::{EXAMINATION, Findings, READINGS};

/// The folder's file, if there is one, and what was in it.
pub(super) struct Kept {
    path: Option<PathBuf>,
    known: BTreeMap<String, Findings>,
}

impl Kept {
    pub(super) fn open() -> Self {
        let path = std::env::var_os("TWOTRIP_KEEP").map(|folder| {
            fs::create_dir_all(&folder).expect("a folder that can be written to");
            PathBuf::from(folder).join("pairs.tsv")
        });
        let text = path.as_ref().and_then(|path| fs::read_to_string(path).ok());
        let mut known: BTreeMap<String, Findings> = BTreeMap::new();
        for line in text.unwrap_or_default().lines() {
            let cells: Vec<&str> = line.split('\t').collect();
            let [fault, part, name, mean, scatter] = cells[..] else {
                continue;
            };
            let part = EXAMINATION.iter().find(|(known, ..)| *known == part);
            let name = READINGS.iter().find(|(known, ..)| *known == name);
            if let (Some((part, ..)), Some((name, ..)), Ok(mean), Ok(scatter)) =
                (part, name, mean.parse(), scatter.parse())
            {
                let findings = known.entry(fault.to_owned()).or_default();
                findings.insert((*part, *name), (mean, scatter));
            }
        }
        // What was broken off in the middle, or driven before there was another reading, is driven again.
        known.retain(|_, findings| findings.len() == EXAMINATION.len() * READINGS.len());
        Self { path, known }
    }

    pub(super) fn findings(&self, fault: &str) -> Option<Findings> {
        self.known.get(fault).cloned()
    }

    pub(super) fn keep(&self, fault: &str, findings: &Findings) {
        let Some(path) = &self.path else { return };
        let line = |((part, name), (mean, scatter)): (&(&str, &str), &(f64, f64))| {
            format!("{fault}\t{part}\t{name}\t{mean}\t{scatter}\n")
        };
        let text: String = findings.iter().map(line).collect();
        let file = OpenOptions::new().create(true).append(true).open(path);
        let written = file.and_then(|mut file| file.write_all(text.as_bytes()));
        written.expect("what is done is kept");
    }
}
