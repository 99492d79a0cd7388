//! Work in hand: every photo with how far it is, measured on as many threads as there are cores, one photo a thread.

use std::collections::{BTreeMap, VecDeque};
use std::path::PathBuf;
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};

use serde::Serialize;
use tokio::sync::watch;

use super::folder::Folder;
use crate::figures::Report;
use crate::measure::photo::Limits;
use crate::measure::pipeline::Params;
use crate::show::plain::by_hand;
use crate::show::summary;
use crate::work::batch::{self, Batch, Grouping, Listed, Record};
use crate::work::stated::Stated;

/// How far a photo is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(crate) enum Stage {
    /// In the queue.
    Waiting,
    /// On a thread.
    Measuring,
    /// Its figures are there.
    Measured,
    /// It could not be measured.
    Failed,
    /// Taken out of the queue, or left by its thread.
    Stopped,
}

/// A photo of the desk.
#[derive(Debug, Clone, Serialize)]
pub(crate) struct Entry {
    /// The stable name of its files.
    pub(crate) id: String,
    /// Its name in tables.
    pub(crate) name: String,
    /// How far it is.
    pub(crate) stage: Stage,
    /// Why it failed.
    pub(crate) why: Option<String>,
    /// Plies and direction in a few words, once measured.
    pub(crate) headline: Option<String>,
    /// The main figures on a line.
    pub(crate) brief: Option<String>,
    /// Whether a figure of the yarn was answered.
    pub(crate) answered: bool,
    /// The label on its card.
    pub(crate) label: Option<String>,
    /// The sample that it belongs to, where one is known.
    pub(crate) sample: Option<String>,
    /// Whether something is stated of it.
    pub(crate) stated: bool,
    /// Whether the photo itself is here; without it nothing can be measured again.
    pub(crate) here: bool,
    /// How often it was measured: pictures with another number are other pictures.
    pub(crate) turn: u64,
    /// Where the photo lies.
    #[serde(skip)]
    path: PathBuf,
    /// Its content, as a check.
    #[serde(skip)]
    check: Option<String>,
    /// Whether it has to be measured once more when the thread is done with it.
    #[serde(skip)]
    again: bool,
    /// Whether the thread is to leave it at the next stage.
    #[serde(skip)]
    unwanted: bool,
}

/// All photos and the queue.
#[derive(Debug, Default)]
pub(crate) struct Photos {
    /// By their ids.
    pub(crate) all: BTreeMap<String, Entry>,
    queue: VecDeque<String>,
    measuring: usize,
    /// Names that photos being received will take.
    reserved: Vec<String>,
    tables_stale: bool,
    /// Whether the threads are to end.
    ending: bool,
}

/// What a thread does next.
enum Next {
    Photo(Listed),
    Tables,
    End,
}

/// The work in hand.
#[derive(Debug)]
pub(crate) struct Hand {
    /// The folder.
    pub(crate) folder: Folder,
    /// What is stated of all photos.
    pub(crate) all: Stated,
    /// Bounds on each photo.
    pub(crate) limits: Limits,
    photos: Mutex<Photos>,
    wake: Condvar,
    changed: watch::Sender<u64>,
}

impl Hand {
    /// Takes up what the folder holds: what was measured is shown, and everything is looked at once more; what has not
    /// changed is not measured again.
    ///
    /// # Errors
    /// A sentence where the folder's own files cannot be read.
    pub(crate) fn new(folder: Folder, all: Stated, limits: Limits) -> Result<Arc<Self>, String> {
        let records = batch::Folder::open(folder.out()).map_err(|e| e.to_string())?.records;
        let here: BTreeMap<String, Listed> =
            folder.photos().into_iter().map(|listed| (batch::id_of(&listed.name), listed)).collect();
        let hand = Self {
            folder,
            all,
            limits,
            photos: Mutex::default(),
            wake: Condvar::new(),
            changed: watch::Sender::new(1),
        };
        {
            let mut photos = hand.photos();
            for record in records {
                let mut entry = hand.entry(&record.photo, here.get(&record.id));
                hand.fill(&mut entry, &record);
                photos.all.insert(entry.id.clone(), entry);
            }
            for (id, listed) in &here {
                let entry = photos.all.entry(id.clone()).or_insert_with(|| hand.entry(&listed.name, Some(listed)));
                entry.stage = Stage::Waiting;
                photos.queue.push_back(id.clone());
            }
        }
        hand.group()?;
        Ok(Arc::new(hand))
    }

    /// Starts the threads.
    ///
    /// # Errors
    /// Where the system gives none.
    pub(crate) fn start(self: &Arc<Self>) -> Result<(), String> {
        let threads = std::thread::available_parallelism().map_or(1, usize::from);
        let started = (0..threads)
            .filter(|_| {
                let hand = Arc::clone(self);
                std::thread::Builder::new().name("measure".to_owned()).spawn(move || hand.work()).is_ok()
            })
            .count();
        if started == 0 { Err("no thread can be started; close other programs".to_owned()) } else { Ok(()) }
    }

    /// All photos, for a moment.
    pub(crate) fn photos(&self) -> MutexGuard<'_, Photos> {
        self.photos.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Goes up by one with every change.
    #[must_use]
    pub(crate) fn changes(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    /// Says that something has changed.
    pub(crate) fn change(&self) {
        self.changed.send_modify(|n| *n += 1);
    }

    fn entry(&self, name: &str, listed: Option<&Listed>) -> Entry {
        let id = batch::id_of(name);
        let stated = Stated::place(self.folder.out(), &id).exists();
        Entry {
            id,
            name: name.to_owned(),
            stage: if listed.is_some() { Stage::Waiting } else { Stage::Measured },
            why: None,
            headline: None,
            brief: None,
            answered: false,
            label: None,
            sample: None,
            stated,
            here: listed.is_some(),
            turn: 0,
            path: listed.map(|l| l.path.clone()).unwrap_or_default(),
            check: None,
            again: false,
            unwanted: false,
        }
    }

    /// Puts what a record says into its entry.
    fn fill(&self, entry: &mut Entry, record: &Record) {
        let report = batch::report_of(self.folder.out(), record).ok().flatten();
        entry.stage = if record.failure.is_some() { Stage::Failed } else { Stage::Measured };
        entry.why = record.failure.as_deref().map(by_hand::text);
        entry.headline = report.as_ref().map(|r: &Report| summary::headline(&r.sample));
        entry.brief = report.as_ref().map(|r| by_hand::text(&summary::brief(&r.sample)));
        entry.answered = record.answered;
        entry.label.clone_from(&record.label);
        entry.check = record.key.split(' ').next().filter(|c| !c.is_empty()).map(str::to_owned);
        entry.turn += 1;
    }

    /// Puts every photo to its sample, as `map.csv` and the labels say.
    ///
    /// # Errors
    /// A sentence where `map.csv` cannot be read.
    pub(crate) fn group(&self) -> Result<(), String> {
        let map = self.folder.map()?;
        let mut photos = self.photos();
        for entry in photos.all.values_mut() {
            let file = entry.name.rsplit('/').next().unwrap_or_default();
            let mapped = map.get(&entry.name).or_else(|| map.get(file));
            entry.sample = mapped.or(entry.label.as_ref()).cloned();
        }
        photos.tables_stale = true;
        drop(photos);
        self.wake.notify_one();
        self.change();
        Ok(())
    }

    /// A free name for a photo that is about to come, kept for it until it is there or given up.
    pub(crate) fn reserve(&self, wanted: &str) -> String {
        let mut photos = self.photos();
        let taken = |name: &String| {
            photos.reserved.contains(name)
                || photos.all.values().any(|e| e.name.eq_ignore_ascii_case(name))
                || self.folder.photo(name).exists()
        };
        // Each number is tried once; more photos of one name than there are numbers cannot be.
        let name = (1..usize::MAX).map(|n| super::names::numbered(wanted, n)).find(|name| !taken(name));
        let name = name.unwrap_or_else(|| wanted.to_owned());
        photos.reserved.push(name.clone());
        name
    }

    /// Gives a reserved name up.
    pub(crate) fn give_up(&self, name: &str) {
        self.photos().reserved.retain(|n| n != name);
    }

    /// The photo that is here already with the same content.
    #[must_use]
    pub(crate) fn known(&self, check: &str) -> Option<String> {
        let photos = self.photos();
        photos.all.values().find(|e| e.here && e.check.as_deref() == Some(check)).map(|e| e.id.clone())
    }

    /// Takes a photo that has come whole; one with the content of another is not kept twice. The id of the photo that
    /// stands for it, and whether it is new.
    pub(crate) fn arrived(&self, name: &str, check: String) -> (String, bool) {
        let mut photos = self.photos();
        photos.reserved.retain(|n| n != name);
        if let Some(before) = photos.all.values().find(|e| e.here && e.check.as_ref() == Some(&check)) {
            return (before.id.clone(), false);
        }
        let listed = Listed { name: name.to_owned(), path: self.folder.photo(name) };
        let mut entry = self.entry(name, Some(&listed));
        entry.check = Some(check);
        let id = entry.id.clone();
        photos.all.insert(id.clone(), entry);
        photos.queue.push_back(id.clone());
        drop(photos);
        self.wake.notify_one();
        self.change();
        (id, true)
    }

    /// Measures a photo again, before those that wait: somebody is looking at it. `false` where there is no such photo, or
    /// the photo itself is not here.
    pub(crate) fn again(&self, id: &str) -> bool {
        let mut photos = self.photos();
        let Some(entry) = photos.all.get_mut(id).filter(|e| e.here) else { return false };
        entry.stated = Stated::place(self.folder.out(), id).exists();
        match entry.stage {
            // What is being measured is not what is wanted now.
            Stage::Measuring => (entry.again, entry.unwanted) = (true, true),
            _ => {
                entry.stage = Stage::Waiting;
                photos.queue.retain(|other| other != id);
                photos.queue.push_front(id.to_owned());
            }
        }
        drop(photos);
        self.wake.notify_one();
        self.change();
        true
    }

    /// Takes a photo out of the queue, or has its thread leave it at the next stage; `false` where it is on neither.
    pub(crate) fn stop(&self, id: &str) -> bool {
        let mut photos = self.photos();
        let waiting = photos.queue.iter().any(|other| other == id);
        photos.queue.retain(|other| other != id);
        let Some(entry) = photos.all.get_mut(id) else { return false };
        let measuring = entry.stage == Stage::Measuring;
        if measuring {
            (entry.again, entry.unwanted) = (false, true);
        } else if waiting {
            entry.stage = Stage::Stopped;
        }
        drop(photos);
        self.change();
        waiting || measuring
    }

    /// Puts a photo away.
    ///
    /// # Errors
    /// A sentence where it is on a thread, or cannot be moved.
    pub(crate) fn put_away(&self, id: &str) -> Result<(), String> {
        let mut photos = self.photos();
        let Some(entry) = photos.all.get(id) else { return Err("there is no such photo".to_owned()) };
        if entry.stage == Stage::Measuring {
            return Err("it is being measured; try again in a moment".to_owned());
        }
        self.folder.put_away(&entry.name)?;
        photos.queue.retain(|other| other != id);
        photos.all.remove(id);
        photos.tables_stale = true;
        drop(photos);
        self.wake.notify_one();
        self.change();
        Ok(())
    }

    /// A photo and where it lies.
    #[must_use]
    pub(crate) fn photo(&self, id: &str) -> Option<(Entry, PathBuf)> {
        self.photos().all.get(id).map(|e| (e.clone(), e.path.clone()))
    }

    /// The record of a photo, as the disk has it.
    #[must_use]
    pub(crate) fn record(&self, id: &str) -> Option<Record> {
        self.photos().all.contains_key(id).then(|| batch::record_of(self.folder.out(), id))?
    }

    /// Lets the threads end, each after the photo that it is at.
    pub(crate) fn end(&self) {
        self.photos().ending = true;
        self.wake.notify_all();
    }

    /// One thread's life: a photo, and the next; tables when nothing is left.
    fn work(&self) {
        loop {
            let listed = match self.next() {
                Next::End => return,
                Next::Photo(listed) => listed,
                Next::Tables => {
                    // Tables are for the command line; where they cannot be written, the next change tries again.
                    let _ = self.write_tables();
                    continue;
                }
            };
            let id = batch::id_of(&listed.name);
            self.change();
            let work = Batch {
                out: self.folder.out(),
                stated: &self.all,
                pictures: true,
                params: Params::default(),
                limits: self.limits,
                threads: 1,
                wanted: &|| !self.photos().all.get(&id).is_some_and(|entry| entry.unwanted),
            };
            let done = batch::measure_all(&work, std::slice::from_ref(&listed), &|_| ());
            self.finish(&id, done.map(|(records, _)| records.into_iter().next()).map_err(|e| e.to_string()));
        }
    }

    /// What there is to do; waits where there is nothing.
    fn next(&self) -> Next {
        let mut photos = self.photos();
        loop {
            if photos.ending {
                return Next::End;
            }
            if let Some(id) = photos.queue.pop_front() {
                if let Some(entry) = photos.all.get_mut(&id) {
                    entry.stage = Stage::Measuring;
                    let listed = Listed { name: entry.name.clone(), path: entry.path.clone() };
                    photos.measuring += 1;
                    return Next::Photo(listed);
                }
                continue;
            }
            if photos.measuring == 0 && photos.tables_stale {
                photos.tables_stale = false;
                return Next::Tables;
            }
            photos = self.wake.wait(photos).unwrap_or_else(PoisonError::into_inner);
        }
    }

    fn finish(&self, id: &str, done: Result<Option<Record>, String>) {
        let mut photos = self.photos();
        photos.measuring = photos.measuring.saturating_sub(1);
        photos.tables_stale = true;
        if let Some(entry) = photos.all.get_mut(id) {
            entry.unwanted = false;
            match done {
                Ok(Some(record)) => self.fill(entry, &record),
                Ok(None) => entry.stage = Stage::Stopped,
                Err(why) => {
                    entry.stage = Stage::Failed;
                    entry.why = Some(by_hand::text(&why));
                }
            }
            if std::mem::take(&mut entry.again) {
                entry.stage = Stage::Waiting;
                photos.queue.push_front(id.to_owned());
            }
        }
        drop(photos);
        self.wake.notify_all();
        // What it shows may belong to a sample by its label.
        if self.group().is_err() {
            self.change();
        }
    }

    fn write_tables(&self) -> Result<(), String> {
        let grouping = Grouping::Map(self.folder.map()?);
        let folder = batch::Folder::open(self.folder.out()).map_err(|e| e.to_string())?;
        batch::write_tables(self.folder.out(), &folder.records, &grouping).map_err(|e| e.to_string())
    }
}
