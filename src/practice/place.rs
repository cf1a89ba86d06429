//! A place: one box of the practice site, with a network of its own.
//!
//! One thread, one network namespace, one single-threaded runtime: sockets belong to the namespace of the thread that
//! opens them, so whatever is to happen at a place is handed to its thread as a job. The kernel takes the namespace and
//! everything in it away when the thread and the last socket are gone.

use crate::sys::namespace;
use futures_util::TryStreamExt;
use futures_util::future::BoxFuture;
use rtnetlink::packet_route::link::LinkAttribute;
use rtnetlink::{Handle, LinkUnspec, LinkVeth};
use std::fmt::Display;
use std::fs;
use std::future::Future;
use std::net::Ipv4Addr;
use std::os::fd::{AsRawFd, OwnedFd};
use std::thread::JoinHandle;
use tokio::sync::{mpsc, oneshot};

type Job = Box<dyn FnOnce(Handle) -> BoxFuture<'static, ()> + Send>;

/// A box of the practice site.
pub(super) struct Place {
    name: &'static str,
    jobs: Option<mpsc::UnboundedSender<Job>>,
    network: Option<OwnedFd>,
    thread: Option<JoinHandle<()>>,
}

impl Place {
    /// A place with a new, empty network.
    pub(super) fn new(name: &'static str) -> Result<Self, String> {
        Self::start(name, || namespace::own_network().map(Some))
    }

    /// The place the process itself is in.
    pub(super) fn here(name: &'static str, network: OwnedFd) -> Result<Self, String> {
        Self::start(name, move || Ok(Some(network)))
    }

    /// A place in whatever network the process is in; nothing can be moved into it.
    pub(super) fn anywhere(name: &'static str) -> Result<Self, String> {
        Self::start(name, || Ok(None))
    }

    fn start(
        name: &'static str,
        enter: impl FnOnce() -> std::io::Result<Option<OwnedFd>> + Send + 'static,
    ) -> Result<Self, String> {
        let (jobs, mut queue) = mpsc::unbounded_channel::<Job>();
        let (ready, is_ready) = std::sync::mpsc::channel();
        let work = move || {
            let entered = enter().map_err(|e| format!("no network of its own: {e}"));
            let built = entered.and_then(|network| {
                let runtime = tokio::runtime::Builder::new_current_thread()
                    .enable_all()
                    .build()
                    .map_err(|e| format!("no runtime: {e}"))?;
                let handle = runtime.block_on(async {
                    let (connection, handle, _) =
                        rtnetlink::new_connection().map_err(|e| format!("no netlink: {e}"))?;
                    tokio::spawn(connection);
                    Ok::<_, String>(handle)
                })?;
                Ok((network, runtime, handle))
            });
            match built {
                Err(why) => drop(ready.send(Err(why))),
                Ok((network, runtime, handle)) => {
                    drop(ready.send(Ok(network)));
                    runtime.block_on(async {
                        while let Some(job) = queue.recv().await {
                            job(handle.clone()).await;
                        }
                    });
                }
            }
        };
        let thread = std::thread::Builder::new()
            .name(format!("place-{name}"))
            .spawn(work)
            .map_err(|e| format!("{name}: no thread: {e}"))?;
        let network = is_ready.recv().map_err(|_| format!("{name}: its thread ended early"))?;
        let network = network.map_err(|e| format!("{name}: {e}"))?;
        Ok(Self { name, jobs: Some(jobs), network, thread: Some(thread) })
    }

    /// Its network, to move interfaces into.
    pub(super) fn network(&self) -> Result<OwnedFd, String> {
        let network = self.network.as_ref().ok_or_else(|| format!("{}: no network of its own", self.name))?;
        network.try_clone().map_err(|e| format!("{}: its network: {e}", self.name))
    }

    /// Does something at this place and waits for the outcome. Must not be called from inside a runtime.
    pub(super) fn ask<T, F, W>(&self, work: W) -> Result<T, String>
    where
        T: Send + 'static,
        F: Future<Output = Result<T, String>> + Send + 'static,
        W: FnOnce(Handle) -> F + Send + 'static,
    {
        let gone = || format!("{}: its thread has ended", self.name);
        let (answer, answered) = oneshot::channel();
        let job: Job = Box::new(move |handle| {
            Box::pin(async move {
                // The asker waits; if it is gone nobody needs the answer.
                drop(answer.send(work(handle).await));
            })
        });
        self.jobs.as_ref().ok_or_else(gone)?.send(job).map_err(|_| gone())?;
        answered.blocking_recv().map_err(|_| gone())?.map_err(|e| format!("{}: {e}", self.name))
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        self.jobs = None;
        if let Some(thread) = self.thread.take() {
            // A thread that panicked has already said so; there is nothing left to free.
            drop(thread.join());
        }
    }
}

/// Puts "what was being done" before an error.
pub(super) fn doing<E: Display>(what: impl Display) -> impl FnOnce(E) -> String {
    move |e| format!("{what}: {e}")
}

/// Index of an interface by name.
pub(super) async fn index(handle: &Handle, name: &str) -> Result<u32, String> {
    let found = handle.link().get().match_name(name.to_owned()).execute().try_next().await;
    found.map_err(doing(name))?.map(|l| l.header.index).ok_or_else(|| format!("{name}: no such interface"))
}

/// Sets an interface up or down.
pub(super) async fn set_up(handle: &Handle, name: &str, up: bool) -> Result<(), String> {
    let link = LinkUnspec::new_with_index(index(handle, name).await?);
    let link = if up { link.up() } else { link.down() };
    handle.link().set(link.build()).execute().await.map_err(doing(format_args!("setting {name} up or down")))
}

/// Whether an interface has carrier.
pub(super) async fn carrier(handle: &Handle, name: &str) -> Result<bool, String> {
    let found = handle.link().get().match_name(name.to_owned()).execute().try_next().await.map_err(doing(name))?;
    let attributes = found.map(|l| l.attributes).unwrap_or_default();
    Ok(attributes.iter().any(|a| matches!(a, LinkAttribute::Carrier(1))))
}

/// Makes two interfaces joined to each other.
pub(super) async fn join(handle: &Handle, near: &str, far: &str) -> Result<(), String> {
    let pair = LinkVeth::new(near, far).build();
    handle.link().add(pair).execute().await.map_err(doing(format_args!("making the interfaces {near} and {far}")))
}

/// Moves an interface into another network.
pub(super) async fn hand_over(handle: &Handle, name: &str, to: &OwnedFd) -> Result<(), String> {
    let link = LinkUnspec::new_with_index(index(handle, name).await?).setns_by_fd(to.as_raw_fd());
    handle.link().set(link.build()).execute().await.map_err(doing(format_args!("moving {name}")))
}

/// Adds an address for good.
pub(super) async fn add_address(handle: &Handle, name: &str, address: Ipv4Addr, prefix: u8) -> Result<(), String> {
    let index = index(handle, name).await?;
    handle
        .address()
        .add(index, address.into(), prefix)
        .execute()
        .await
        .map_err(doing(format_args!("adding {address} to {name}")))
}

/// Sets a value under `/proc/sys/net` of the calling thread's network.
pub(super) fn set_switch(path: &str, value: &str) -> Result<(), String> {
    fs::write(format!("/proc/sys/net/{path}"), value).map_err(doing(format_args!("setting net/{path} to {value}")))
}
