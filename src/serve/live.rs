//! Views that stay open (server-sent events, HTML standard, section 9.2): each look is drawn once and the same bytes go
//! to everybody.
//!
//! A view that does not take what it is sent is dropped: nothing waits for it, and its queue is short. The browser opens
//! another by itself.

use hyper::body::Bytes;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::task::{Context, Poll};
use tokio::sync::{Notify, mpsc};

/// Events that wait for one view.
const QUEUE: usize = 6;

/// Of what a view shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    /// The homeowner's page.
    Home,
    /// The technician's view.
    Technician,
}

/// The open views.
#[derive(Debug, Default)]
pub(super) struct Views {
    all: Mutex<Vec<View>>,
    open: AtomicUsize,
}

#[derive(Debug)]
struct View {
    kind: Kind,
    sender: mpsc::Sender<Bytes>,
    dropped: Arc<Notify>,
}

/// What one view is sent.
#[derive(Debug)]
pub(super) struct Stream(mpsc::Receiver<Bytes>);

impl Stream {
    /// The next event.
    pub(super) fn poll(&mut self, cx: &mut Context<'_>) -> Poll<Option<Bytes>> {
        self.0.poll_recv(cx)
    }
}

impl Views {
    /// Opens one, which gets `first` at once; `dropped` is told when it is given up.
    pub(super) fn open(&self, kind: Kind, first: impl IntoIterator<Item = Bytes>, dropped: Arc<Notify>) -> Stream {
        let (sender, receiver) = mpsc::channel(QUEUE);
        for event in first {
            // The queue is new and longer than what comes first.
            let _ = sender.try_send(event);
        }
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.push(View { kind, sender, dropped });
        self.open.store(all.len(), Ordering::Relaxed);
        Stream(receiver)
    }

    /// How many are open.
    pub(super) fn count(&self) -> usize {
        self.open.load(Ordering::Relaxed)
    }

    /// Whether any of a kind is.
    pub(super) fn any(&self, kind: Kind) -> bool {
        self.all.lock().unwrap_or_else(PoisonError::into_inner).iter().any(|v| v.kind == kind)
    }

    /// Sends an event to all of a kind, or to all; gives up those that don't take it.
    pub(super) fn send(&self, kind: Option<Kind>, event: &Bytes) {
        let mut all = self.all.lock().unwrap_or_else(PoisonError::into_inner);
        all.retain(|view| {
            let meant = kind.is_none_or(|k| k == view.kind);
            let kept = if meant { view.sender.try_send(event.clone()).is_ok() } else { !view.sender.is_closed() };
            if !kept {
                view.dropped.notify_one();
            }
            kept
        });
        self.open.store(all.len(), Ordering::Relaxed);
    }
}

/// An event. Lines of the data go line by line.
pub(super) fn event(name: &str, data: &str) -> Bytes {
    let mut out = format!("event: {name}\n");
    // A carriage return ends a line too.
    for line in data.split(['\n', '\r']) {
        out.push_str("data: ");
        out.push_str(line);
        out.push('\n');
    }
    out.push('\n');
    out.into()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_event_is_as_the_standard_has_it() {
        assert_eq!(event("tick", "{}"), "event: tick\ndata: {}\n\n");
        assert_eq!(event("look", "<p>\nid: 1\r\n</p>"), "event: look\ndata: <p>\ndata: id: 1\ndata: \ndata: </p>\n\n");
    }

    #[test]
    fn a_view_that_takes_nothing_is_given_up_and_others_are_not() {
        let views = Views::default();
        let (slow, quick) = (Arc::new(Notify::new()), Arc::new(Notify::new()));
        let _slow = views.open(Kind::Home, None, Arc::clone(&slow));
        let mut taking = views.open(Kind::Home, None, quick);
        let mut other = views.open(Kind::Technician, Some(event("tick", "0")), Arc::new(Notify::new()));
        for n in 0..20 {
            views.send(Some(Kind::Home), &event("look", &n.to_string()));
            assert!(taking.0.try_recv().is_ok());
        }
        assert_eq!(views.count(), 2);
        assert!(views.any(Kind::Home) && views.any(Kind::Technician));
        assert!(other.0.try_recv().is_ok() && other.0.try_recv().is_err());
        drop(taking);
        views.send(None, &event("tick", "1"));
        assert_eq!((views.count(), views.any(Kind::Home)), (1, false));
    }
}
