//! A slow resolver takes most of a second for each answer. No trouble may be told.

use crate::trial::Trial;

/// Answers every name with one address and the control name with "no such name", late but well within the patience.
const SLOW: &str = r"
import socket,struct,threading,time
s=socket.socket(socket.AF_INET,socket.SOCK_DGRAM); s.setsockopt(socket.SOL_SOCKET,socket.SO_REUSEADDR,1)
while True:
    try: s.bind(('192.168.50.1',53)); break
    except OSError: time.sleep(0.02)
def reply(d,a):
    time.sleep(0.8)
    bad=b'\x07invalid\x00' in d
    end=12
    while d[end]: end+=d[end]+1
    q=d[12:end+5]
    h=d[:2]+(b'\x81\x83' if bad else b'\x81\x80')+b'\x00\x01'+(b'\x00\x00' if bad else b'\x00\x01')+b'\x00\x00\x00\x00'
    s.sendto(h+q+(b'' if bad else b'\xc0\x0c\x00\x01\x00\x01\x00\x00\x00\x3c\x00\x04\xc0\x00\x02\x50'),a)
while True:
    d,a=s.recvfrom(512); threading.Thread(target=reply,args=(d,a),daemon=True).start()
";

pub(crate) const TRIAL: Trial = Trial {
    name: "slowdns",
    site: "",
    prepare: |_| {},
    play: |s| {
        s.wait_for_start();
        s.place.kill("names");
        s.place.start("names", "router", &["/usr/bin/python3", "-c", SLOW]);
        s.pause(30.0);
    },
    seconds: 80,
};
