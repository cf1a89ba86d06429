//! What every request is answered from: the state the watch published last, the open views, pages drawn a moment ago.

use super::live::{Kind, Views, event};
use crate::judge::{Cause, LaneState, WallTime};
use crate::metrics::Board;
use crate::show::page::{self, Look};
use crate::show::words;
use crate::snapshot::{Snapshot, VerdictKind};
use crate::sys::clock::Clock;
use hyper::body::Bytes;
use jiff::tz::TimeZone;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, PoisonError};
use tokio::sync::{Semaphore, watch};
use tokio::time::{Duration, MissedTickBehavior, interval, timeout};

/// Open views are told the time this often.
const TICK: Duration = Duration::from_secs(4);
/// A technician's view reloads itself after at most this many ticks.
const RELOAD_AFTER: u32 = 15;
/// A page drawn once is good for as long, seconds.
const FRESH_S: f64 = 1.0;
/// A costly answer waits this long for its turn.
const TURN_WITHIN: Duration = Duration::from_secs(5);
/// Costly answers at once.
pub(super) const COSTLY: usize = 1;

/// What there is to show after a look.
#[derive(Clone, Debug)]
pub struct Published {
    /// The snapshot.
    pub snapshot: Snapshot,
    /// When the lanes were looked over, seconds on the record's axis.
    pub looked_s: f64,
    /// The same by the wall clock.
    pub looked: WallTime,
    /// What this box sends and to whom, a line each.
    pub sends: Arc<[String]>,
}

impl Published {
    /// When the verdict was reached, seconds on the record's axis.
    pub(super) fn reached_s(&self) -> Option<f64> {
        self.snapshot.ruling.as_ref().map(|r| r.reached_s)
    }
}

/// What requests on every address share.
#[derive(Debug)]
pub(super) struct State {
    pub(super) clock: Clock,
    pub(super) record: PathBuf,
    pub(super) zone: TimeZone,
    pub(super) views: Views,
    record_name: String,
    published: watch::Receiver<Option<Arc<Published>>>,
    home: Mutex<Option<Drawn>>,
    costly: Semaphore,
}

/// The homeowner's page as it was drawn.
#[derive(Debug)]
struct Drawn {
    of: Arc<Published>,
    at_s: f64,
    page: Bytes,
}

impl State {
    /// Nothing is published yet.
    pub(super) fn new(record: PathBuf, clock: Clock, published: watch::Receiver<Option<Arc<Published>>>) -> Self {
        Self {
            clock,
            record_name: record.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default(),
            record,
            zone: TimeZone::system(),
            views: Views::default(),
            published,
            home: Mutex::default(),
            costly: Semaphore::new(COSTLY),
        }
    }

    /// What was published last.
    pub(super) fn published(&self) -> Option<Arc<Published>> {
        self.published.borrow().clone()
    }

    /// What metrics are made from; nothing seen before the first look.
    pub(super) fn board(&self) -> Board {
        self.published().map_or_else(Board::default, |p| Board::of(&p.snapshot, p.looked_s))
    }

    /// What pages are drawn from.
    pub(super) fn look<'a>(&'a self, published: &'a Published) -> Look<'a> {
        Look {
            snapshot: &published.snapshot,
            zone: &self.zone,
            now_s: self.clock.now().secs(),
            sends: &published.sends,
            record: &self.record_name,
        }
    }

    /// The homeowner's page, drawn anew only where there is something new or time has passed.
    pub(super) fn home(&self, published: &Arc<Published>) -> Bytes {
        let now_s = self.clock.now().secs();
        let mut drawn = self.home.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(d) = &*drawn
            && Arc::ptr_eq(&d.of, published)
            && now_s - d.at_s < FRESH_S
        {
            return d.page.clone();
        }
        let page = Bytes::from(page::home(&self.look(published)));
        *drawn = Some(Drawn { of: Arc::clone(published), at_s: now_s, page: page.clone() });
        page
    }

    /// What stands inside its `<main>`.
    pub(super) fn home_main(&self, published: &Published) -> String {
        page::home_main(&self.look(published))
    }

    /// The event that tells an open view the time.
    pub(super) fn tick(&self, published: &Published) -> Bytes {
        let data = serde_json::json!({
            "now_s": self.clock.now().secs(),
            "looked_s": published.looked_s,
            "looked": super::api::time(published.looked),
            "wall": words::full_time(published.looked, &self.zone),
        });
        event("tick", &data.to_string())
    }

    /// Runs costly work on another thread; `None` where too much is asked at once.
    pub(super) async fn costly<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Option<T> {
        let _turn = timeout(TURN_WITHIN, self.costly.acquire()).await.ok()?.ok()?;
        tokio::task::spawn_blocking(work).await.ok()
    }

    /// Sends open views what has changed, for as long as anybody may publish.
    pub(super) async fn update_views(&self) {
        let mut published = self.published.clone();
        let mut tick = interval(TICK);
        tick.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let (mut main, mut mark, mut ticks) = (String::new(), None, 0u32);
        loop {
            tokio::select! {
                changed = published.changed() => if changed.is_err() { return },
                _ = tick.tick() => {
                    if let Some(now) = self.published() {
                        self.views.send(None, &self.tick(&now));
                    }
                    ticks = ticks.wrapping_add(1);
                    if !ticks.is_multiple_of(RELOAD_AFTER) {
                        continue;
                    }
                    mark = None;
                }
            }
            let Some(published) = self.published() else { continue };
            if self.views.any(Kind::Home) {
                let now = self.home_main(&published);
                if now != main {
                    self.views.send(Some(Kind::Home), &event("look", &now));
                    main = now;
                }
            }
            let now = Some(Mark::of(&published));
            if now != mark {
                let data = serde_json::json!({ "looked_s": published.looked_s });
                self.views.send(Some(Kind::Technician), &event("changed", &data.to_string()));
                mark = now;
            }
        }
    }
}

/// What makes it worth reloading the technician's view.
#[derive(Debug, PartialEq)]
struct Mark {
    lanes: Vec<LaneState>,
    troubles: Vec<(Cause, bool, bool)>,
    verdict: (VerdictKind, Option<u64>),
    waits: bool,
}

impl Mark {
    fn of(published: &Published) -> Self {
        let s = &published.snapshot;
        Self {
            lanes: s.lanes.iter().map(|l| l.state).collect(),
            troubles: s.troubles.iter().map(|t| (t.cause, t.end_s.is_some(), t.down_to_s.is_some())).collect(),
            verdict: (s.verdict().kind, published.reached_s().map(f64::to_bits)),
            waits: s.agent.as_ref().is_some_and(|a| a.record_waits.is_some()),
        }
    }
}
