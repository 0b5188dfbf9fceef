//! `pack` as people meet it: what is missing, what is packed, and that the archive reads back with another program's reader.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use ringwright::simulate::{TakeSpec, TrueMode};
use tempfile::TempDir;

mod common;

use common::{PLAIN, run, take, write, write_ring};

const AIR: &str = "  mass = \"207 g\"\n  date = \"2026-03-02\"\n  temperature = \"20 C\"\n  humidity = \"46 %\"\n";

/// Steel of 200 GPa and 7850 kg/m3, 600 x 20 x 5 mm: 72.06 Hz, and by the roots of cos x cosh x = 1 the next ones 2.757, 5.404 and 8.933
/// times as high (a handbook's numbers; thin as it is, shear takes less than 0.5 % off the fourth).
fn bar(path: &Path, seed: u64) {
    let modes = [72.06, 198.6, 389.2, 642.5].map(|hz| TrueMode {
        frequency_hz: hz,
        damping_ratio: 0.002,
        amplitude: 0.1,
        phase_rad: 0.0,
    });
    write(path, &TakeSpec { modes: modes.into(), seed, ..take() });
}

/// A whole set: ten rims that differ by nothing but their names, one with a mass stuck on, one with a dial, and a bar.
fn whole() -> TempDir {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let at = |name: &str| folder.path().join("shop/recordings").join(name);
    let mut text = "format = 1\nshop = \"an invented shop (simulated)\"\n".to_owned();
    write_ring(&at("first"), &PLAIN, 1);
    for n in 1..=10 {
        let dial =
            if n == 2 { "  [part.stage.deflection]\n  weight = \"500 g\"\n  reading = \"0.42 mm\"\n" } else { "" };
        text += &format!(
            "[[part]]\nname = \"rim-{n}\"\nkind = \"rim\"\nnotes = \"simulated\"\n  [[part.stage]]\n  name = \"plain\"\n{AIR}{dial}  \
             [[part.stage]]\n  name = \"other-hand\"\n{AIR}"
        );
        for file in ["plain/waist/take-01.wav", "plain/waist/take-02.wav", "other-hand/waist/take-01.wav"] {
            let file = at(&format!("rim-{n}/{file}"));
            fs::create_dir_all(file.parent().expect("a folder")).expect("it can be made");
            fs::copy(at("first"), file).expect("it can be copied");
        }
    }
    fs::create_dir_all(at("rim-1/plain/waist+2g")).expect("it can be made");
    fs::rename(at("first"), at("rim-1/plain/waist+2g/take-01.wav")).expect("it can be moved");
    text += "[[part]]\nname = \"bar\"\n  [[part.stage]]\n  name = \"steel\"\n  length = \"600 mm\"\n  width = \"20 mm\"\n  thickness = \"5.00 \
             mm\"\n  mass = \"471 g\"\n  known_modulus = \"200 GPa\"\n";
    bar(&at("bar/steel/end/take-01.wav"), 3);
    fs::write(folder.path().join("shop/bench.toml"), text).expect("it can be written");
    folder
}

/// Every run of digits becomes `#`.
fn mask(line: &str) -> String {
    let runs = line.split(|c: char| c.is_ascii_digit() || c == '.').filter(|r| !r.is_empty());
    runs.collect::<Vec<_>>().join("#")
}

fn said(folder: &Path, arguments: &[&str], wanted: i32) -> String {
    let (code, out, err) = run(folder, arguments);
    assert_eq!(code, Some(wanted), "{arguments:?}\n{out}{err}");
    out + &err
}

#[test]
fn a_whole_set_is_packed_and_reads_back() {
    let folder = whole();
    let text = said(folder.path(), &["pack", "shop"], 0);
    assert!(
        text.contains("Nothing is missing") && text.contains("times (") && !text.contains("it should be 1.000"),
        "{text}"
    );
    // Word for word, digits masked where they come from sound.
    let masked: String = text
        .split_inclusive('\n')
        .map(|l| if l.contains("GPa") || l.contains("times") { mask(l) } else { l.into() })
        .collect();
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("golden");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!("reference-set", masked));
    let text = said(folder.path(), &["pack", "shop", "--into", "set.tar"], 0);
    assert!(text.contains("33 files are in set.tar"), "{text}");
    // The same bench, the same bytes, whatever the files' times are.
    fs::copy(folder.path().join("shop/bench.toml"), folder.path().join("kept")).expect("it can be copied");
    fs::rename(folder.path().join("kept"), folder.path().join("shop/bench.toml")).expect("it can be moved");
    said(folder.path(), &["pack", "shop", "--into", "again.tar"], 0);
    let bytes = |name: &str| fs::read(folder.path().join(name)).expect("it is there");
    assert!(bytes("set.tar") == bytes("again.tar"), "the archives differ");
    // An archive that is there is not replaced without being asked.
    let text = said(folder.path(), &["pack", "shop", "--into", "set.tar"], 2);
    assert!(text.contains("exists already") && text.contains("--force"), "{text}");
    said(folder.path(), &["pack", "shop", "--into", "set.tar", "--force"], 0);
    let left: Vec<_> = fs::read_dir(folder.path()).expect("a folder").flatten().map(|e| e.file_name()).collect();
    assert_eq!(left.len(), 3, "no temporary file is left: {left:?}");
}

/// Python's tarfile and hashlib: every member is a regular file below one folder, and the manifest says what it holds.
const READ_BACK: &str = "
import sys, json, tarfile, hashlib
with tarfile.open(sys.argv[1], 'r:') as archive:
    members = archive.getmembers()
    names = [m.name for m in members]
    assert all(m.isreg() and m.mtime == 0 and m.uid == 0 and m.mode == 0o644 for m in members), names
    assert all(n.startswith('reference-set/') and '..' not in n for n in names), names
    assert names[-1] == 'reference-set/manifest.json' and names[:-1] == sorted(names[:-1])
    manifest = json.load(archive.extractfile(names[-1]))
    assert manifest['schema'] == 'ringwright.reference/1'
    assert [f['name'] for f in manifest['files']] == [n[len('reference-set/'):] for n in names[:-1]]
    for entry, member in zip(manifest['files'], members):
        data = archive.extractfile(member).read()
        assert len(data) == entry['bytes'] and hashlib.sha256(data).hexdigest() == entry['sha256'], entry
    assert not any(sys.argv[2] in json.dumps(manifest) for _ in [0]), 'an absolute path'
print(manifest['complete'], len(manifest['parts']), len(manifest['missing']), manifest['bars'][0]['agrees'])
";

#[test]
fn another_programs_reader_finds_what_was_packed() {
    let folder = whole();
    said(folder.path(), &["pack", "shop", "--into", "set.tar"], 0);
    let outside = folder.path().display().to_string();
    let python =
        Command::new("python3").current_dir(folder.path()).args(["-c", READ_BACK, "set.tar", &outside]).output();
    let Ok(output) = python else {
        use std::io::Write;
        let _ = std::io::stderr().write_all(b"\nSKIPPED: no python3 to read the archive back\n");
        return;
    };
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{err}");
    assert_eq!(String::from_utf8_lossy(&output.stdout).trim(), "True 11 0 True");
}

#[test]
fn what_is_missing_is_listed_and_packed_only_when_asked() {
    let folder = whole();
    let shop = folder.path().join("shop");
    fs::remove_dir_all(shop.join("recordings/rim-3")).expect("it can be removed");
    fs::remove_file(shop.join("recordings/rim-4/plain/waist/take-02.wav")).expect("it can be removed");
    fs::remove_dir_all(shop.join("recordings/rim-5/other-hand")).expect("it can be removed");
    fs::remove_dir_all(shop.join("recordings/rim-1/plain/waist+2g")).expect("it can be removed");
    let text = fs::read_to_string(shop.join("bench.toml")).expect("it is there");
    let text = text.replace("471 g", "520 g").replace("reading = \"0.42 mm\"", "reading = \"0.42 mm\"\n");
    let text = text.replacen("notes = \"simulated\"\n", "", 1).replacen("  humidity = \"46 %\"\n", "", 1);
    fs::write(shop.join("bench.toml"), text).expect("it can be written");
    let text = said(folder.path(), &["pack", "shop", "--into", "set.tar"], 1);
    let text = text.split_whitespace().collect::<Vec<_>>().join(" ");
    for words in [
        "9 of 10 parts",
        "rim-4: 1 of 2 takes at one spot",
        "rim-5: no take held by another hand",
        "no take with a known mass stuck on",
        "rim-1: no notes",
        "rim-1, plain: no air",
        "it should be 1.000",
        "nothing is packed",
    ] {
        assert!(text.contains(words), "{words}\n{text}");
    }
    assert!(!folder.path().join("set.tar").exists());
    said(folder.path(), &["pack", "shop", "--into", "set.tar", "--even-if-incomplete"], 1);
    assert!(folder.path().join("set.tar").exists());
    // Without a bench there is nothing to check.
    let text = said(folder.path(), &["pack", "."], 2);
    assert!(text.contains("bench.toml: there is none"), "{text}");
}

#[cfg(unix)]
#[test]
fn links_are_left_out_and_named() {
    let folder = whole();
    let shop = folder.path().join("shop");
    let secret = folder.path().join("secret.wav");
    fs::write(&secret, b"not of this bench").expect("it can be written");
    let link = |from: &Path, to: PathBuf| std::os::unix::fs::symlink(from, to).expect("a link");
    link(&secret, shop.join("recordings/rim-1/plain/waist/take-09.wav"));
    link(folder.path(), shop.join("recordings/rim-1/elsewhere"));
    let text = said(folder.path(), &["pack", "shop", "--into", "set.tar", "--even-if-incomplete"], 1);
    assert!(text.contains("take-09.wav: is a link") && text.contains("elsewhere: is a link"), "{text}");
    // A pipe would be waited for, and is not; a file that nobody may read is named (a superuser may read all).
    let pipe = shop.join("recordings/rim-2/plain/waist/take-09.wav");
    assert!(Command::new("mkfifo").arg(&pipe).status().is_ok_and(|s| s.success()));
    let locked = shop.join("recordings/rim-2/plain/waist/take-08.wav");
    fs::write(&locked, b"RIFF").expect("it can be written");
    fs::set_permissions(&locked, std::os::unix::fs::PermissionsExt::from_mode(0o0)).expect("its permissions");
    let text = said(folder.path(), &["pack", "shop"], 1);
    assert!(text.contains("take-09.wav: is no regular file"), "{text}");
    let superuser = fs::File::open(&locked).is_ok();
    assert!(superuser || text.contains("take-08.wav: cannot be read"), "{text}");
    let bytes = fs::read(folder.path().join("set.tar")).expect("it is there");
    assert!(!bytes.windows(17).any(|w| w == b"not of this bench"));
    // A bench.toml that is a link is none.
    fs::rename(shop.join("bench.toml"), folder.path().join("real.toml")).expect("it can be moved");
    link(&folder.path().join("real.toml"), shop.join("bench.toml"));
    let text = said(folder.path(), &["pack", "shop"], 2);
    assert!(text.contains("bench.toml: is a link"), "{text}");
}
