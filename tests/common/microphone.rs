//! A microphone without hardware: ALSA's file plug-in reads what a thread feeds into a named pipe in real time.

use std::fs::{self, OpenOptions};
use std::io::{ErrorKind, Write};
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// What the microphone is opened with: the sound library's usual choice for a device that takes anything.
pub const RATE: u32 = 48_000;
pub const CHANNELS: usize = 2;
/// A whole number of the plug-in's periods (240 frames) in each piece: other sizes arrive scrambled.
const PIECE: usize = 480;
const O_NONBLOCK: i32 = 0o4000;

pub struct FakeMicrophone {
    pub folder: PathBuf,
    stop: Arc<AtomicBool>,
    feeder: Option<JoinHandle<()>>,
}

/// What the feeder does when the sound is over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Then {
    /// Silence, as long as somebody listens.
    Silence,
    /// Nothing more comes, as when a microphone stalls.
    Nothing,
}

impl FakeMicrophone {
    /// Feeds mono samples into both channels, over and over in real time from now on.
    pub fn playing(folder: &Path, mono: &[f32], then: Then) -> Self {
        let pipe = folder.join("microphone.fifo");
        assert!(Command::new("mkfifo").arg(&pipe).status().expect("mkfifo").success());
        let conf = "</usr/share/alsa/alsa.conf>\npcm.!default {\n  type file\n  slave.pcm \"null\"\n  file \"/dev/null\"\n  \
                    infile { @func getenv vars [ FAKE_MICROPHONE ] default \"/dev/zero\" }\n  format \"raw\"\n}\n";
        fs::write(folder.join("asound.conf"), conf).expect("it can be written");
        let bytes: Vec<u8> = mono.iter().flat_map(|s| [s.to_le_bytes(); CHANNELS].concat()).collect();
        let (stop, feeder) = feed(&pipe, bytes, PIECE * CHANNELS * 4, then);
        Self { folder: folder.to_owned(), stop, feeder: Some(feeder) }
    }

    /// The program with this microphone.
    pub fn program(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ringwright"));
        command
            .env("ALSA_CONFIG_PATH", self.folder.join("asound.conf"))
            .env("FAKE_MICROPHONE", self.folder.join("microphone.fifo"))
            .env("XDG_CONFIG_HOME", self.folder.join("config"))
            .env_remove("PULSE_SERVER")
            .current_dir(&self.folder);
        command
    }
}

/// Feeds bytes into a named pipe, piece by piece of 10 ms in real time.
fn feed(pipe: &Path, bytes: Vec<u8>, size: usize, then: Then) -> (Arc<AtomicBool>, JoinHandle<()>) {
    let stop = Arc::new(AtomicBool::new(false));
    let stopped = stop.clone();
    // Open at both ends from the start: the listener opens and closes it several times.
    let mut writer = OpenOptions::new().read(true).write(true).custom_flags(O_NONBLOCK).open(pipe).expect("a pipe");
    let feeder = std::thread::spawn(move || {
        let silence = vec![0u8; size];
        let mut pieces = bytes.chunks_exact(size);
        let mut began = Instant::now();
        let mut sent = 0u32;
        while !stopped.load(Ordering::Relaxed) {
            let piece = match (pieces.clone().next(), then) {
                (Some(piece), _) => piece,
                (None, Then::Silence) => &silence[..],
                // Still open: a pipe without a writer would be a file at its end.
                (None, Then::Nothing) => {
                    std::thread::sleep(Duration::from_millis(20));
                    continue;
                }
            };
            match writer.write(piece) {
                Ok(count) => assert_eq!(count, size, "the pipe takes whole pieces"),
                // Nobody reads yet, or not fast enough: time stands still.
                Err(error) if error.kind() == ErrorKind::WouldBlock => {
                    std::thread::sleep(Duration::from_millis(2));
                    began += Duration::from_millis(2);
                    continue;
                }
                Err(_) => return,
            }
            pieces.next();
            sent += 1;
            let due = Duration::from_secs_f64(f64::from(sent) * PIECE as f64 / f64::from(RATE));
            std::thread::sleep(due.saturating_sub(began.elapsed()));
        }
    });
    (stop, feeder)
}

/// A private sound server whose only source is a pipe; it can vanish like a microphone that is pulled out.
pub struct ServedMicrophone {
    folder: PathBuf,
    server: Child,
    stop: Arc<AtomicBool>,
    feeder: Option<JoinHandle<()>>,
}

impl ServedMicrophone {
    /// `None` if there is no sound server on this machine.
    pub fn playing(folder: &Path, mono: &[f32]) -> Option<Self> {
        let run = folder.join("run");
        fs::create_dir_all(&run).expect("it can be made");
        fs::set_permissions(&run, fs::Permissions::from_mode(0o700)).expect("it can be ours alone");
        let (socket, pipe) = (folder.join("native"), folder.join("served.fifo"));
        let server = Command::new("pulseaudio")
            .args(["-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "--disable-shm=yes"])
            .args(["--realtime=no", "--high-priority=no"])
            .args(["-L", &format!("module-native-protocol-unix socket={} auth-anonymous=1", socket.display())])
            .args([
                "-L",
                &format!(
                    "module-pipe-source source_name=mic file={} format=float32le rate={RATE} channels=1",
                    pipe.display()
                ),
            ])
            .env("HOME", folder)
            .env("XDG_RUNTIME_DIR", &run)
            .env_remove("DBUS_SESSION_BUS_ADDRESS")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .ok()?;
        let conf = "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n";
        fs::write(folder.join("asound.conf"), conf).expect("it can be written");
        let since = Instant::now();
        while !(socket.exists() && pipe.exists()) {
            assert!(since.elapsed() < Duration::from_secs(10), "the sound server does not start");
            std::thread::sleep(Duration::from_millis(50));
        }
        let bytes: Vec<u8> = mono.iter().flat_map(|s| s.to_le_bytes()).collect();
        let (stop, feeder) = feed(&pipe, bytes, PIECE * 4, Then::Silence);
        Some(Self { folder: folder.to_owned(), server, stop, feeder: Some(feeder) })
    }

    pub fn program(&self) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_ringwright"));
        command
            .env("ALSA_CONFIG_PATH", self.folder.join("asound.conf"))
            .env("PULSE_SERVER", format!("unix:{}", self.folder.join("native").display()))
            .env("XDG_RUNTIME_DIR", self.folder.join("run"))
            .env("XDG_CONFIG_HOME", self.folder.join("config"))
            .env("HOME", &self.folder)
            .current_dir(&self.folder);
        command
    }

    /// Pulls the plug.
    pub fn vanish(&mut self) {
        let _ = self.server.kill();
        let _ = self.server.wait();
    }
}

impl Drop for ServedMicrophone {
    fn drop(&mut self) {
        self.vanish();
        self.stop.store(true, Ordering::Relaxed);
        if let Some(feeder) = self.feeder.take() {
            let _ = feeder.join();
        }
    }
}

impl Drop for FakeMicrophone {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
        if let Some(feeder) = self.feeder.take() {
            let _ = feeder.join();
        }
    }
}
