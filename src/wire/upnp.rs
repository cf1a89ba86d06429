//! The words of UPnP that lead to a router's own account of itself ([UPNPDA11]; WANIPConnection:1 [UPNPWAN1],
//! WANIPConnection:2 and WANPPPConnection:1 of the UPnP Forum's Internet Gateway Device).
//!
//! Decides what is asked and what an answer says, and that every place named in an answer is on the gateway itself:
//! anything else is refused, not followed. Only questions are asked; nothing is mapped or set. XML is read by
//! `roxmltree`, without DTDs and with a bounded number of nodes.

use crate::judge::RouterLife;
use roxmltree::{Document, Node, ParsingOptions};
use std::net::{IpAddr, Ipv4Addr};

/// Where searches go (UPnP Device Architecture 1.1, section 1.3).
pub const GROUP: (Ipv4Addr, u16) = (Ipv4Addr::new(239, 255, 255, 250), 1_900);
/// Longest answer to a search, bytes: one datagram on an Ethernet network.
pub const LONGEST_FOUND: usize = 1_500;
/// Longest description or answer, bytes. Real ones are a tenth of it.
pub const LONGEST_XML: usize = 64 * 1024;
/// Most services asked of one router.
pub const MOST_SERVICES: usize = 4;
/// Longest path of a place, bytes.
const LONGEST_PATH: usize = 256;
/// Most nodes of an XML document.
const MOST_NODES: u32 = 8_192;
/// Deepest nesting of elements, counted before the parser sees them.
const DEEPEST: usize = 64;

const GATEWAY_DEVICE: &str = "urn:schemas-upnp-org:device:InternetGatewayDevice:";
const SERVICES: [&str; 3] = [
    "urn:schemas-upnp-org:service:WANIPConnection:1",
    "urn:schemas-upnp-org:service:WANIPConnection:2",
    "urn:schemas-upnp-org:service:WANPPPConnection:1",
];

/// The search for an internet gateway; later versions answer to the first (UPnP Device Architecture 1.1, section 1.3.2).
pub fn search() -> String {
    let (group, port) = GROUP;
    format!(
        "M-SEARCH * HTTP/1.1\r\nHOST: {group}:{port}\r\nMAN: \"ssdp:discover\"\r\nMX: 1\r\nST: {GATEWAY_DEVICE}1\r\n\r\n"
    )
}

/// A place on the gateway.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// TCP port.
    pub port: u16,
    /// Path and query, with its leading slash.
    pub path: String,
}

/// One connection service of the gateway.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Service {
    /// Its type.
    pub kind: &'static str,
    /// Where it is asked.
    pub control: Place,
}

/// Why an answer is of no use, in words that hold nothing of the answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub enum Wrong {
    /// No answer to a search for a gateway.
    #[error("no answer to a search for a gateway")]
    NoAnswer,
    /// It names a place that is not on the gateway, or none that can be read.
    #[error("the router's UPnP answer names a place that is not on the router")]
    Elsewhere,
    /// Not the XML of UPnP.
    #[error("the router's UPnP answer is no XML of the kind")]
    Xml,
    /// No connection service in the description.
    #[error("the router's UPnP description names no connection service")]
    NoService,
    /// The service answered without the value.
    #[error("the router's connection service does not tell its state")]
    NoState,
}

/// Reads one answer to [`search`]: where the description is.
pub fn found(datagram: &[u8], gateway: Ipv4Addr) -> Result<Place, Wrong> {
    let mut fields = [httparse::EMPTY_HEADER; 32];
    let mut head = httparse::Response::new(&mut fields);
    let whole = head.parse(datagram).map_err(|_| Wrong::NoAnswer)?.is_complete();
    let value = |name: &str| {
        let mut named = head.headers.iter().filter(|f| f.name.eq_ignore_ascii_case(name));
        named.next().and_then(|f| std::str::from_utf8(f.value.trim_ascii()).ok())
    };
    if !whole || head.code != Some(200) || !value("ST").is_some_and(|st| st.starts_with(GATEWAY_DEVICE)) {
        return Err(Wrong::NoAnswer);
    }
    place(value("LOCATION").ok_or(Wrong::NoAnswer)?, gateway, None)
}

/// Resolves a URL of the gateway. Relative ones are taken from `base` (RFC 3986 section 5.2, without dot segments).
fn place(url: &str, gateway: Ipv4Addr, base: Option<&Place>) -> Result<Place, Wrong> {
    let url = url.trim();
    let has_scheme = url.split(['/', '?']).next().is_some_and(|first| first.contains(':'));
    let (port, path) = match (url.split_at_checked(7), base) {
        (Some((scheme, rest)), _) if scheme.eq_ignore_ascii_case("http://") => {
            let (authority, path) = rest.split_at(rest.find(['/', '?', '#']).unwrap_or(rest.len()));
            let (host, port) = authority.split_once(':').unwrap_or((authority, "80"));
            let port = port.parse().ok().filter(|p| *p != 0 && port.bytes().all(|b| b.is_ascii_digit()));
            if host.parse() != Ok(gateway) {
                return Err(Wrong::Elsewhere);
            }
            let path = if path.starts_with('/') { path.to_owned() } else { format!("/{path}") };
            (port.ok_or(Wrong::Elsewhere)?, path)
        }
        (_, Some(base)) if !has_scheme && !url.starts_with("//") => {
            let directory = base.path.split('?').next().and_then(|p| p.rfind('/').map(|at| &p[..=at])).unwrap_or("/");
            let path = if url.starts_with('/') { url.to_owned() } else { format!("{directory}{url}") };
            (base.port, path)
        }
        _ => return Err(Wrong::Elsewhere),
    };
    // The path goes into a request line as it is.
    let sound = path.len() <= LONGEST_PATH && path.bytes().all(|b| b.is_ascii_graphic() && b != b'#');
    if sound { Ok(Place { port, path }) } else { Err(Wrong::Elsewhere) }
}

/// The connection services in a description fetched from `at`, in the order of the description.
pub fn services(xml: &[u8], gateway: Ipv4Addr, at: &Place) -> Result<Vec<Service>, Wrong> {
    let text = checked(xml)?;
    let document = parse(text)?;
    let root = document.root_element();
    // UPnP Device Architecture 1.0 had a base in the description; 1.1 dropped it.
    let base = match child(root, "URLBase") {
        Some(url) if !url.is_empty() => place(url, gateway, Some(at))?,
        _ => at.clone(),
    };
    let mut services = Vec::new();
    for node in root.descendants().filter(|n| n.tag_name().name() == "service") {
        let (Some(kind), Some(control)) = (child(node, "serviceType"), child(node, "controlURL")) else { continue };
        let Some(kind) = SERVICES.into_iter().find(|k| *k == kind) else { continue };
        services.push(Service { kind, control: place(control, gateway, Some(&base))? });
        if services.len() == MOST_SERVICES {
            break;
        }
    }
    if services.is_empty() { Err(Wrong::NoService) } else { Ok(services) }
}

/// An action that takes nothing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Action {
    /// State of the connection and its age.
    Status,
    /// The outer address.
    Outer,
}

impl Action {
    const fn name(self) -> &'static str {
        match self {
            Self::Status => "GetStatusInfo",
            Self::Outer => "GetExternalIPAddress",
        }
    }
}

/// The request for a description.
pub fn get(gateway: Ipv4Addr, at: &Place) -> String {
    format!("GET {} HTTP/1.1\r\nHost: {gateway}:{}\r\nConnection: close\r\n\r\n", at.path, at.port)
}

/// The request for an action (UPnP Device Architecture 1.1, section 3.2.1).
pub fn post(gateway: Ipv4Addr, service: &Service, action: Action) -> String {
    let (kind, name, at) = (service.kind, action.name(), &service.control);
    let body = format!(
        "<?xml version=\"1.0\"?>\r\n<s:Envelope xmlns:s=\"http://schemas.xmlsoap.org/soap/envelope/\" \
         s:encodingStyle=\"http://schemas.xmlsoap.org/soap/encoding/\"><s:Body><u:{name} xmlns:u=\"{kind}\"></u:{name}>\
         </s:Body></s:Envelope>"
    );
    format!(
        "POST {} HTTP/1.1\r\nHost: {gateway}:{}\r\nContent-Type: text/xml; charset=\"utf-8\"\r\nSOAPAction: \"{kind}#{name}\"\r\n\
         Content-Length: {}\r\nConnection: close\r\n\r\n{body}",
        at.path,
        at.port,
        body.len()
    )
}

/// Reads an answer to [`Action::Status`].
pub fn status(xml: &[u8]) -> Result<RouterLife, Wrong> {
    let text = checked(xml)?;
    let document = parse(text)?;
    let value = |name: &str| child_anywhere(&document, name);
    let connected = value("NewConnectionStatus").map(|s| s == "Connected");
    let up_s = value("NewUptime").and_then(|s| s.parse::<u32>().ok()).map(u64::from);
    if connected.is_none() && up_s.is_none() {
        return Err(Wrong::NoState);
    }
    Ok(RouterLife { up_s, of_connection: true, connected, outer: None })
}

/// Reads an answer to [`Action::Outer`]; a router without one says nothing or zeros.
pub fn outer(xml: &[u8]) -> Result<Option<IpAddr>, Wrong> {
    let text = checked(xml)?;
    let address = child_anywhere(&parse(text)?, "NewExternalIPAddress").and_then(|s| s.parse::<IpAddr>().ok());
    Ok(address.filter(|a| !a.is_unspecified()))
}

fn parse(text: &str) -> Result<Document<'_>, Wrong> {
    let options = ParsingOptions { nodes_limit: MOST_NODES, ..ParsingOptions::default() };
    Document::parse_with_options(text, options).map_err(|_| Wrong::Xml)
}

/// The text, where it is UTF-8, no longer than we take and not nested deeper than any real answer.
fn checked(xml: &[u8]) -> Result<&str, Wrong> {
    let text = std::str::from_utf8(xml).map_err(|_| Wrong::Xml)?;
    let (mut depth, mut deepest) = (0_usize, 0);
    for pair in xml.windows(2) {
        match pair {
            b"</" | b"/>" => depth = depth.saturating_sub(1),
            [b'<', b'?' | b'!'] => {}
            [b'<', _] => depth += 1,
            _ => {}
        }
        deepest = deepest.max(depth);
    }
    if xml.len() > LONGEST_XML || deepest > DEEPEST { Err(Wrong::Xml) } else { Ok(text) }
}

fn child<'d>(node: Node<'d, '_>, name: &str) -> Option<&'d str> {
    let found = node.children().find(|c| c.tag_name().name() == name)?;
    Some(found.text().unwrap_or_default().trim())
}

fn child_anywhere(document: &Document<'_>, name: &str) -> Option<String> {
    let found = document.descendants().find(|n| n.tag_name().name() == name)?;
    Some(found.text().unwrap_or_default().trim().to_owned())
}

#[cfg(test)]
mod tests {
    use super::*;

    const GATEWAY: Ipv4Addr = Ipv4Addr::new(192, 0, 2, 1);

    fn at(port: u16, path: &str) -> Place {
        Place { port, path: path.into() }
    }

    fn answer(location: &str) -> String {
        format!(
            "HTTP/1.1 200 OK\r\nCACHE-CONTROL: max-age=1800\r\nST: {GATEWAY_DEVICE}1\r\nLOCATION: {location}\r\n\r\n"
        )
    }

    fn description(base: &str, services: &[(&str, &str)]) -> String {
        let list = services.iter().fold(String::new(), |list, (kind, url)| {
            list + &format!("<service><serviceType>{kind}</serviceType><controlURL>{url}</controlURL></service>")
        });
        format!(
            "<?xml version=\"1.0\"?><root xmlns=\"urn:schemas-upnp-org:device-1-0\">{base}<device><deviceList><device>\
             <serviceList>{list}</serviceList></device></deviceList></device></root>"
        )
    }

    #[test]
    fn only_an_answer_for_a_gateway_device_on_the_gateway_counts() {
        let place = |location: &str| found(answer(location).as_bytes(), GATEWAY);
        assert_eq!(place("http://192.0.2.1:5000/rootDesc.xml"), Ok(at(5_000, "/rootDesc.xml")));
        assert_eq!(place("HTTP://192.0.2.1"), Ok(at(80, "/")));
        assert_eq!(place("http://192.0.2.1:49152?x=1"), Ok(at(49_152, "/?x=1")));
        for elsewhere in [
            "http://192.0.2.2:5000/x",
            "http://192.0.2.1.example/x",
            "http://router.example/x",
            "http://192.0.2.1@198.51.100.1/x",
            "http://192.0.2.1:0/x",
            "http://192.0.2.1:+80/x",
            "http://192.0.2.1:99999/x",
            "https://192.0.2.1/x",
            "file:///etc/passwd",
            "/rootDesc.xml",
            "//192.0.2.1/x",
            "http://[::1]/x",
            "",
        ] {
            assert_eq!(place(elsewhere), Err(Wrong::Elsewhere), "{elsewhere}");
        }
        assert_eq!(place(&format!("http://192.0.2.1/{}", "x".repeat(300))), Err(Wrong::Elsewhere));
        for junk in
            ["", "HTTP/1.1 200 OK\r\n", "NOTIFY * HTTP/1.1\r\n\r\n", "HTTP/1.1 200 OK\r\nST: upnp:rootdevice\r\n\r\n"]
        {
            assert_eq!(found(junk.as_bytes(), GATEWAY), Err(Wrong::NoAnswer), "{junk}");
        }
    }

    #[test]
    fn the_search_is_that_of_the_architecture() {
        // UPnP Device Architecture 1.1 section 1.3.2: these five lines, then an empty one.
        let text = search();
        let lines: Vec<&str> = text.split("\r\n").collect();
        assert_eq!(
            lines,
            [
                "M-SEARCH * HTTP/1.1",
                "HOST: 239.255.255.250:1900",
                "MAN: \"ssdp:discover\"",
                "MX: 1",
                "ST: urn:schemas-upnp-org:device:InternetGatewayDevice:1",
                "",
                ""
            ]
        );
    }

    #[test]
    fn services_are_found_wherever_they_are_nested_and_their_places_resolved() {
        let from = at(5_000, "/igd/desc.xml");
        let read = |xml: &str| services(xml.as_bytes(), GATEWAY, &from);
        let two =
            description("", &[(SERVICES[2], "ctl/ppp"), ("urn:x", "http://192.0.2.9/"), (SERVICES[0], "/ctl/ip?a=b")]);
        assert_eq!(
            read(&two),
            Ok(vec![
                Service { kind: SERVICES[2], control: at(5_000, "/igd/ctl/ppp") },
                Service { kind: SERVICES[0], control: at(5_000, "/ctl/ip?a=b") }
            ])
        );
        let based = description("<URLBase>http://192.0.2.1:6000/base/</URLBase>", &[(SERVICES[1], "c")]);
        assert_eq!(read(&based).map(|s| s[0].control.clone()), Ok(at(6_000, "/base/c")));
        for evil in [
            description("<URLBase>http://192.0.2.66/</URLBase>", &[(SERVICES[0], "/c")]),
            description("", &[(SERVICES[0], "http://192.0.2.66/c")]),
            description("", &[(SERVICES[0], "/c HTTP/1.1&#13;&#10;X: y")]),
            description("", &[(SERVICES[0], "//192.0.2.66/c")]),
        ] {
            assert_eq!(read(&evil), Err(Wrong::Elsewhere), "{evil}");
        }
        assert_eq!(read(&description("", &[])), Err(Wrong::NoService));
        let many: Vec<_> = (0..100).map(|_| (SERVICES[0], "/c")).collect();
        assert_eq!(read(&description("", &many)).map(|s| s.len()), Ok(MOST_SERVICES));
    }

    #[test]
    fn state_and_outer_address_read() {
        // The shape of WANIPConnection:1 section 2.4.7 (GetStatusInfo) and 2.4.18 (GetExternalIPAddress), as miniupnpd
        // 2.3.1 writes them; tests/lab_signs.rs asks one.
        let answer = |inside: &str| {
            format!(
                "<?xml version=\"1.0\"?>\r\n<s:Envelope xmlns:s=\"http://schemas.xmlsoap.org/soap/envelope/\"><s:Body>\
                 <u:R xmlns:u=\"{}\">{inside}</u:R></s:Body></s:Envelope>\r\n",
                SERVICES[0]
            )
        };
        let told = "<NewConnectionStatus>Connected</NewConnectionStatus><NewLastConnectionError>ERROR_NONE\
                    </NewLastConnectionError><NewUptime>86412</NewUptime>";
        let life = RouterLife { up_s: Some(86_412), of_connection: true, connected: Some(true), outer: None };
        assert_eq!(status(answer(told).as_bytes()), Ok(life));
        let down = status(answer("<NewConnectionStatus>Disconnected</NewConnectionStatus>").as_bytes());
        assert_eq!(down.map(|l| (l.connected, l.up_s)), Ok((Some(false), None)));
        assert_eq!(status(answer("<NewUptime>-5</NewUptime>").as_bytes()), Err(Wrong::NoState));
        assert_eq!(status(answer("").as_bytes()), Err(Wrong::NoState));
        let address =
            |text: &str| outer(answer(&format!("<NewExternalIPAddress>{text}</NewExternalIPAddress>")).as_bytes());
        assert_eq!(address("203.0.113.7"), Ok("203.0.113.7".parse().ok()));
        for none in ["", "0.0.0.0", "203.0.113.7.1", "x"] {
            assert_eq!(address(none), Ok(None), "{none}");
        }
    }

    #[test]
    fn bombs_and_junk_are_refused() {
        let bomb =
            "<!DOCTYPE a [<!ENTITY b \"bbbbbbbb\"><!ENTITY c \"&b;&b;&b;&b;\">]><a><NewUptime>&c;</NewUptime></a>";
        let deep = "<a>".repeat(20_000);
        let closed = format!("{}{}", "<a>".repeat(10_000), "</a>".repeat(4_000));
        let wide = format!("<a>{}</a>", "<b/>".repeat(12_000));
        for xml in [bomb, &deep, &closed, &wide, "", "<", "junk", "<a></b>"] {
            assert_eq!(status(xml.as_bytes()), Err(Wrong::Xml), "{}", &xml[..xml.len().min(40)]);
        }
        assert_eq!(status(b"\xff\xfe<a/>"), Err(Wrong::Xml));
    }

    #[test]
    fn requests_are_for_the_gateway_alone() {
        let service = Service { kind: SERVICES[0], control: at(5_000, "/ctl") };
        let text = post(GATEWAY, &service, Action::Status);
        assert!(text.starts_with("POST /ctl HTTP/1.1\r\nHost: 192.0.2.1:5000\r\n"), "{text}");
        assert!(text.contains("SOAPAction: \"urn:schemas-upnp-org:service:WANIPConnection:1#GetStatusInfo\"\r\n"));
        let (head, body) = text.split_once("\r\n\r\n").expect("a head and a body");
        assert!(head.contains(&format!("Content-Length: {}\r\n", body.len())));
        assert!(Document::parse(body).is_ok());
        assert!(get(GATEWAY, &at(80, "/d")).starts_with("GET /d HTTP/1.1\r\nHost: 192.0.2.1:80\r\n"));
    }
}
