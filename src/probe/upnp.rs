//! How long has the router been connected, and does it call its outer side connected, by its own account (UPnP IGD)?
//!
//! One search on the local network finds the description; then the gateway alone is asked, at places on the gateway
//! alone. No redirect is followed, every answer is bounded in size and time, and a whole turn in time. What a router says
//! of itself is evidence, not proof: some never reset the count, some reset it at every reconnection. A router that stays
//! silent is searched for less often, for a search wakes every host of the network.

use super::gateway_arp::same_network;
use super::host::{Blind, Host};
use super::turns::Timer;
use super::upnp_machine::{Ask, Failure, Machine, Step};
use super::{Context, errno};
use crate::judge::{Detail, Micros, NotAsked, Observation, Outcome, Question};
use crate::site::cadence::FLOOR_SIGNS;
use crate::sys::way::Way;
use crate::sys::{outgoing, search};
use crate::wire::http::{self, Answer, Incoming, Wanted};
use crate::wire::upnp::{self, LONGEST_FOUND, LONGEST_XML};
use std::net::{IpAddr, Ipv4Addr, SocketAddrV4};
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::time::timeout;

/// How long a search waits: `MX` of one second, and a slow box.
const SEARCH: Duration = Duration::from_secs(2);
/// How long one HTTP exchange may take.
const EXCHANGE: Duration = Duration::from_secs(3);
/// How long a whole turn may take.
const TURN: Duration = Duration::from_secs(8);
/// Most datagrams of the gateway looked at in one search.
const MOST_DATAGRAMS: u32 = 32;
/// Asks until the agent is gone.
pub async fn run(ctx: Context) {
    let mut host = Host::new(&ctx);
    let way = ctx.way();
    let mut turns = Timer::after(&ctx, Micros::from_secs(2), ctx.plan.signs.signs_every, FLOOR_SIGNS);
    let mut machine: Option<Machine> = None;
    loop {
        tokio::select! {
            () = ctx.seen.closed() => return,
            () = turns.next() => {}
        }
        let asked = ctx.clock.now();
        let report = match site(&mut host).await {
            Err(blind) => blind.observed(Question::RouterLife, host.target(), asked),
            Ok((gateway, own)) => {
                let fresh = machine.take().filter(|m| m.gateway() == gateway);
                let machine = machine.insert(fresh.unwrap_or_else(|| Machine::new(gateway)));
                let whole = tokio::select! {
                    () = ctx.seen.closed() => return,
                    whole = timeout(TURN, turn(machine, &way, own)) => whole,
                };
                let late = || Some((Outcome::Timeout, Detail::Why("the router took too long over its answers".into())));
                let Some((outcome, detail)) = whole.unwrap_or_else(|_| late()) else { continue };
                let (known, target) = (ctx.clock.now(), format!("UPnP at {gateway}").into());
                Observation { asked, known, question: Question::RouterLife, target, outcome, rtt: None, detail }
            }
        };
        if !ctx.report(report).await {
            return;
        }
    }
}

async fn site(host: &mut Host) -> Result<(Ipv4Addr, Ipv4Addr), Blind> {
    let index = host.carrying().await?.carrier.index;
    let (held, gateways) =
        host.ask(async |kernel| Ok((kernel.addresses(index).await?, kernel.gateways(index).await?))).await?;
    let four = |address: IpAddr| if let IpAddr::V4(a) = address { Some(a) } else { None };
    let gateway = match (gateways.first(), gateways.iter().find_map(|g| four(*g))) {
        (None, _) => return Err(Blind::NotAsked(NotAsked::NoRoute)),
        (Some(_), None) => {
            let why = "the gateway has an IPv6 address only, and UPnP is asked over IPv4";
            return Err(Blind::Failed(NotAsked::Unsupported, why.into()));
        }
        (Some(_), Some(gateway)) => gateway,
    };
    let mut own = held.iter().filter_map(|h| Some((four(h.address)?, h.prefix)));
    let first = own.clone().next().ok_or(Blind::NotAsked(NotAsked::NoAddress))?;
    let (own, _) = own.find(|(own, prefix)| same_network(*own, gateway, *prefix)).unwrap_or(first);
    Ok((gateway, own))
}

/// One turn; `None` where nothing was to be asked.
async fn turn(machine: &mut Machine, way: &Way, own: Ipv4Addr) -> Option<(Outcome, Detail)> {
    let mut step = machine.on_turn()?;
    loop {
        step = match step {
            Step::Ask(Ask::Search) => seek(machine, way, own).await,
            Step::Ask(Ask::Exchange { port, request }) => {
                let to = SocketAddrV4::new(machine.gateway(), port);
                let answer = match timeout(EXCHANGE, exchange(to, &request, way)).await {
                    Ok(answer) => answer,
                    Err(_) => Err((Outcome::Timeout, Detail::None)),
                };
                machine.on_answer(answer)?
            }
            Step::Report(told) => return Some(told),
        }
    }
}

async fn seek(machine: &mut Machine, way: &Way, own: Ipv4Addr) -> Step {
    let local = |e| Step::Report(errno::while_asking(&e));
    let socket = match search::open(way.name().as_deref(), own, machine.gateway()) {
        Ok(socket) => socket,
        Err(e) => return local(e),
    };
    if let Err(e) = socket.send_to(upnp::search().as_bytes(), upnp::GROUP).await {
        return local(e);
    }
    let mut heard = 0;
    let listening = async {
        let mut room = [0; LONGEST_FOUND];
        while heard < MOST_DATAGRAMS {
            let Ok((length, _)) = socket.recv_from(&mut room).await else { return None };
            heard += 1;
            if let Some(step) = machine.on_datagram(&room[..length]) {
                return Some(step);
            }
        }
        None
    };
    match timeout(SEARCH, listening).await {
        Ok(Some(step)) => step,
        _ => machine.on_silence(heard),
    }
}

async fn exchange(to: SocketAddrV4, request: &str, way: &Way) -> Result<Answer, Failure> {
    let connecting = outgoing::tcp(to.into(), way.name().as_deref()).map_err(|e| errno::at_connect(&e))?;
    let mut stream = connecting.done().await.map_err(|e| errno::from_network(&e))?;
    stream.write_all(request.as_bytes()).await.map_err(|e| errno::from_network(&e))?;
    let wrong = |w: http::Wrong| (Outcome::Malformed, Detail::Why(format!("the router's UPnP answer is {w}")));
    let mut incoming = Incoming::new(Wanted::Whole(LONGEST_XML));
    let mut room = [0; 4_096];
    loop {
        match stream.read(&mut room).await {
            Ok(0) => return incoming.end().map_err(wrong),
            Ok(length) => {
                if let Some(answer) = incoming.take(&room[..length]).map_err(wrong)? {
                    return Ok(answer);
                }
            }
            Err(e) => return Err(errno::from_network(&e)),
        }
    }
}
