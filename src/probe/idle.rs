//! How long may a flow be idle before something between forgets it? The measurement: trials run side by side as
//! [`Search`] wants them, each on its own socket, while every other probe goes on.
//!
//! Decides what is said: the bounds each time they get narrower, or why there are none. Only hosts the site file names
//! for this are used, never a receiver, and no data is sent on their connections.

use super::idle_search::{Ended, Search, Step};
use super::idle_trial;
use super::{Context, datagram};
use crate::judge::{Detail, Micros, Moment, Observation, Outcome, Question};
use crate::site::plan::IdleTest;
use crate::sys::way::Way;
use std::collections::HashMap;
use std::sync::Arc;
use std::time::Duration;
use tokio::task::{AbortHandle, JoinSet};

/// After a measurement that came to nothing, it is tried again this much later.
const AGAIN: Micros = Micros::from_secs(600);
/// Between the starts of two trials.
const APART: Duration = Duration::from_millis(50);

/// Measures with each host named for it, each `every`, until the agent is gone.
pub async fn run(ctx: Context) {
    let way = Arc::new(ctx.way());
    let mut each = JoinSet::new();
    for (i, test) in ctx.plan.between.idle_tests.iter().enumerate() {
        let (ctx, test, way) = (ctx.clone(), Arc::new(test.clone()), way.clone());
        each.spawn(async move {
            let mut wait = datagram::first_after(i);
            loop {
                tokio::select! {
                    () = ctx.seen.closed() => return,
                    () = tokio::time::sleep(wait) => {}
                }
                let conclusive = tokio::select! {
                    () = ctx.seen.closed() => return,
                    c = measure(&ctx, &test, &way) => c,
                };
                wait = if conclusive { test.at.every } else { test.at.every.min(AGAIN) }.to_std();
            }
        });
    }
    each.join_all().await;
}

type Trial = (u32, Result<Ended, datagram::Failed>);

/// One measurement. False where it came to nothing that will last.
async fn measure(ctx: &Context, test: &Arc<IdleTest>, way: &Arc<Way>) -> bool {
    let began = ctx.clock.now();
    let opened = async {
        let to = datagram::first_address(ctx, &test.at).await?;
        Ok((to, idle_trial::means(ctx, test.over, to, way).await?))
    };
    let (to, means) = match opened.await {
        Ok(o) => o,
        Err((outcome, detail)) => {
            say(ctx, test, began, datagram::settled(outcome), detail).await;
            return false;
        }
    };
    let mut search = Search::new(u32::try_from(test.longest.0 / 1_000_000).unwrap_or(u32::MAX));
    let mut running: JoinSet<Trial> = JoinSet::new();
    let mut handles: HashMap<u32, AbortHandle> = HashMap::new();
    let mut said = (0, None);
    loop {
        match search.step() {
            Step::Try(ages) => {
                for (i, age) in ages.into_iter().enumerate() {
                    let (ctx, way) = (ctx.clone(), way.clone());
                    let trial = async move {
                        tokio::time::sleep(APART * u32::try_from(i).unwrap_or(0)).await;
                        (age, idle_trial::run(&ctx, means, to, &way, age).await)
                    };
                    handles.insert(age, running.spawn(trial));
                }
            }
            Step::Wait => {}
            Step::Done => break,
            Step::Unsteady => {
                let why = "flows were lost after idle times that others outlived".to_owned();
                say(ctx, test, began, Outcome::Malformed, Detail::Why(why)).await;
                return true;
            }
        }
        match running.join_next().await {
            Some(Ok((age, Ok(ended)))) => {
                for useless in search.heard(age, ended) {
                    if let Some(handle) = handles.remove(&useless) {
                        handle.abort();
                    }
                }
            }
            // The way was away meanwhile: what was lost may have been lost by that.
            Some(Ok((_, Err((outcome, detail))))) => {
                say(ctx, test, began, datagram::settled(outcome), detail).await;
                return false;
            }
            Some(Err(e)) if e.is_panic() => std::panic::resume_unwind(e.into_panic()),
            Some(Err(_)) => {}
            None => break,
        }
        let found = search.sure();
        if found != said {
            said = found;
            let detail = Detail::Idle { over: test.over, kept_s: found.0, lost_s: found.1 };
            say(ctx, test, began, Outcome::Answered, detail).await;
        }
    }
    if said == (0, None) {
        let why = "the far end closes idle connections itself; name a host that leaves them open".to_owned();
        say(ctx, test, began, Outcome::Reset, Detail::Why(why)).await;
    }
    true
}

async fn say(ctx: &Context, test: &IdleTest, asked: Moment, outcome: Outcome, detail: Detail) {
    let (known, target) = (ctx.clock.now(), test.at.name.clone());
    ctx.report(Observation { asked, known, question: Question::IdleTimeout, target, outcome, rtt: None, detail }).await;
}
