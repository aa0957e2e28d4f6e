//! What the service manager is told (systemd's sd_notify protocol: datagrams to the socket that NOTIFY_SOCKET names).
//!
//! Never waits: where the manager does not take what it is sent, a watched loop that waits for it would be killed for
//! standing still. Word that did not get through is lost, save that the service is ready, which is said until it is
//! taken.

use std::env;
use std::ffi::OsStr;
use std::io;
use std::os::linux::net::SocketAddrExt;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::net::{SocketAddr, UnixDatagram};

/// The service manager, if one started the program.
#[derive(Debug, Default)]
pub struct Manager {
    socket: Option<UnixDatagram>,
    address: Option<SocketAddr>,
    ready: bool,
}

impl Manager {
    /// As the environment says.
    pub fn of_environment() -> Self {
        env::var_os("NOTIFY_SOCKET").map_or_else(Self::default, |name| Self::at(&name))
    }

    /// At a socket: a path, or with `@` a name without a file. One that cannot be is as none.
    pub fn at(name: &OsStr) -> Self {
        let address = match name.as_bytes().strip_prefix(b"@") {
            Some(name) => SocketAddr::from_abstract_name(name),
            None => SocketAddr::from_pathname(name),
        };
        let socket = UnixDatagram::unbound().and_then(|socket| socket.set_nonblocking(true).map(|()| socket));
        Self { socket: socket.ok(), address: address.ok(), ready: false }
    }

    /// The loop has come round.
    pub fn alive(&mut self) {
        if self.ready {
            let _ = self.say("WATCHDOG=1");
        } else {
            self.ready = self.say("READY=1\nWATCHDOG=1").is_ok();
        }
    }

    /// One line for a person who asks after the service.
    pub fn status(&self, text: &str) {
        let line: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let _ = self.say(&format!("STATUS={line}"));
    }

    pub fn stopping(&self) {
        let _ = self.say("STOPPING=1");
    }

    fn say(&self, text: &str) -> io::Result<()> {
        let (Some(socket), Some(address)) = (&self.socket, &self.address) else { return Ok(()) };
        socket.send_to_addr(text.as_bytes(), address).map(drop)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::sync::mpsc::channel;
    use std::thread;
    use std::time::Duration;

    use super::*;

    fn received(socket: &UnixDatagram) -> Vec<String> {
        socket.set_nonblocking(true).unwrap();
        let mut buffer = [0; 200];
        std::iter::from_fn(|| socket.recv(&mut buffer).ok().map(|n| String::from_utf8_lossy(&buffer[..n]).into_owned()))
            .collect()
    }

    /// Nobody takes what is sent until the queue is full (net.unix.max_dgram_qlen, usually 10 or 512 datagrams).
    #[test]
    fn a_manager_that_takes_nothing_is_not_waited_for() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("notify");
        let taking = UnixDatagram::bind(&path).unwrap();
        let filling = UnixDatagram::unbound().unwrap();
        filling.set_nonblocking(true).unwrap();
        while filling.send_to(b"X=1", &path).is_ok() {}
        let (done, ended) = channel();
        let name = path.clone();
        thread::spawn(move || {
            let mut manager = Manager::at(name.as_os_str());
            manager.alive();
            manager.status("watching");
            done.send(manager).unwrap();
        });
        let mut manager = ended.recv_timeout(Duration::from_secs(10)).unwrap();
        assert!(received(&taking).iter().all(|text| text == "X=1"));
        // That it is ready is said as soon as somebody listens.
        manager.alive();
        manager.alive();
        manager.status("waiting: disk\nfull");
        manager.stopping();
        assert_eq!(received(&taking), ["READY=1\nWATCHDOG=1", "WATCHDOG=1", "STATUS=waiting: disk full", "STOPPING=1"]);
    }

    #[test]
    fn names_without_a_file_and_no_manager_at_all() {
        let name = format!("cowlwatch-{}", std::process::id());
        let taking = UnixDatagram::bind_addr(&SocketAddr::from_abstract_name(&name).unwrap()).unwrap();
        Manager::at(OsStr::new(&format!("@{name}"))).alive();
        assert_eq!(received(&taking), ["READY=1\nWATCHDOG=1"]);
        Manager::at(OsStr::new("/nonexistent/notify")).alive();
        Manager::default().alive();
    }
}
