//! The diary's first page: one self-contained HTML file with the answers, pictures and tables of a bench.

use std::fmt::Write;

use base64::Engine;

use crate::compare::{Chart, Comparison, Row};
use crate::modes::COVERAGE_95;
use crate::report::json::document::Document;
use crate::report::text::comparison::{foretold, ratio};
use crate::report::text::control::{answer as control_answer, this_and_limits};
use crate::report::text::numbers::with_interval;

/// A part on the page.
pub struct IndexPart {
    pub name: String,
    pub kind: String,
    pub notes: Vec<String>,
    pub sections: Vec<IndexSection>,
}

/// A question about a part, its answers and its pictures.
pub struct IndexSection {
    pub heading: String,
    pub answers: Vec<IndexAnswer>,
    pub pictures: Vec<IndexPicture>,
}

/// A picture (PNG).
pub struct IndexPicture {
    pub shows: String,
    /// The file that lies beside the page.
    pub file: String,
    /// Its bytes; empty if the page is to lead to the file.
    pub png: Vec<u8>,
}

/// An answer in one sentence, with what it rests on.
pub struct IndexAnswer {
    sentence: String,
    doubts: Vec<String>,
    heads: [&'static str; 3],
    rows: Vec<[String; 3]>,
}

impl IndexAnswer {
    /// Of a comparison with a baseline.
    pub fn of_comparison(c: &Comparison) -> Self {
        let row = |r: &Row| [r.what.clone(), ratio(r), r.sentence()];
        Self {
            sentence: c.answer(),
            doubts: c.notes.clone(),
            heads: ["times the baseline", "ratio (95 %)", "verdict"],
            rows: c
                .whole
                .iter()
                .map(row)
                .chain(c.foretold.iter().map(|f| [f.what.clone(), foretold(f), f.sentence().to_owned()]))
                .collect(),
        }
    }

    /// Of a part among the shop's earlier ones.
    pub fn of_charts(part: &str, charts: &[Chart], notes: &[String]) -> Self {
        let row = |c: &Chart| [c.what.clone(), this_and_limits(c), c.verdict().to_owned()];
        Self {
            sentence: control_answer(part, charts),
            doubts: notes.to_vec(),
            heads: ["figure", "this one (limits of the earlier ones)", "verdict"],
            rows: charts.iter().map(row).collect(),
        }
    }
}

/// What the page shows.
pub struct IndexInput<'a> {
    pub title: &'a str,
    pub remark: Option<&'a str>,
    pub notes: Option<&'a str>,
    pub parts: &'a [IndexPart],
    pub document: &'a Document,
    pub problems: &'a [String],
}

const STYLE: &str = "body{font:16px/1.5 system-ui,sans-serif;color:#1c1c1c;background:#fff;max-width:60rem;margin:0 auto;padding:1rem}\
h1{font-size:1.8rem;margin:.5rem 0}h2{font-size:1.4rem;border-top:2px solid #ddd;padding-top:1rem;margin-top:2rem}h3{font-size:1.1rem}\
.answer{font-size:1.15rem;font-weight:bold}.muted{color:#595959}.doubt{color:#9c1c16}img{max-width:100%;height:auto;border:1px solid #ddd}\
.wide{overflow-x:auto}table{border-collapse:collapse;margin:.5rem 0;font-variant-numeric:tabular-nums}\
th,td{padding:.2rem .7rem;border-bottom:1px solid #ddd;text-align:right;white-space:nowrap}th:first-child,td:first-child{text-align:left}\
@media print{body{max-width:none;padding:0}h2{break-before:page}h2:first-of-type{break-before:auto}img,table,tr{break-inside:avoid}}";

fn escape(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// More bytes of pictures than this make a page that a telephone hardly opens.
pub const MOST_BYTES: usize = 12_000_000;

/// Puts a picture into the page, or, when it is full, a link to the file beside it.
fn picture(out: &mut String, picture: &IndexPicture, room: &mut usize) {
    let shows = escape(&picture.shows);
    // Writing to a string cannot fail.
    if picture.png.is_empty() || picture.png.len() > *room {
        let _ = writeln!(
            out,
            "<p><a href=\"{}\">Picture: {shows}</a></p>",
            escape(&picture.file.replace('%', "%25").replace('#', "%23").replace('?', "%3F"))
        );
        return;
    }
    *room -= picture.png.len();
    let data = base64::engine::general_purpose::STANDARD.encode(&picture.png);
    let _ = writeln!(out, "<p><img alt=\"{shows}\" src=\"data:image/png;base64,{data}\"></p>");
}

/// The page, as text.
pub fn index_html(input: &IndexInput<'_>) -> String {
    let mut out = String::new();
    let title = escape(input.title);
    let _ = write!(
        out,
        "<!doctype html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" \
         content=\"width=device-width, initial-scale=1\">\n<title>{title}</title>\n<style>{STYLE}</style>\n</head>\n<body>\n\
         <h1>{title}</h1>\n"
    );
    let remark = input.remark.map_or(String::new(), |r| format!("{} · ", escape(r)));
    let _ = writeln!(
        out,
        "<p class=\"muted\">{remark}ringwright {}. Every figure is a 95 % interval. Nothing here says how a guitar will sound.</p>",
        env!("CARGO_PKG_VERSION")
    );
    if let Some(notes) = input.notes {
        let _ = writeln!(out, "<p>{}</p>", escape(notes));
    }
    if !input.problems.is_empty() {
        out.push_str("<h2>What does not fit</h2>\n<ul>\n");
        for problem in input.problems {
            let _ = writeln!(out, "<li class=\"doubt\">{}</li>", escape(problem));
        }
        out.push_str("</ul>\n");
    }
    // The pictures of the answers have the first claim to the room.
    let sections = || input.parts.iter().flat_map(|p| &p.sections);
    let bytes = |s: &IndexSection| s.pictures.iter().map(|p| p.png.len()).sum::<usize>();
    let of_answers: usize = sections().filter(|s| !s.answers.is_empty()).map(bytes).sum();
    let (mut for_answers, mut for_takes) = (MOST_BYTES, MOST_BYTES.saturating_sub(of_answers));
    for part in input.parts {
        let _ = writeln!(out, "<h2>{} <span class=\"muted\">({})</span></h2>", escape(&part.name), escape(&part.kind));
        for note in &part.notes {
            let _ = writeln!(out, "<p>{}</p>", escape(note));
        }
        for section in &part.sections {
            let _ = writeln!(out, "<h3>{}</h3>", escape(&section.heading));
            section.answers.iter().for_each(|a| answer(&mut out, a));
            let room = if section.answers.is_empty() { &mut for_takes } else { &mut for_answers };
            section.pictures.iter().for_each(|p| picture(&mut out, p, room));
        }
    }
    out.push_str("<h2>All takes</h2>\n");
    for recording in &input.document.recordings {
        let _ = writeln!(out, "<h3>{}</h3>", escape(&recording.file));
        if let Some(error) = &recording.error {
            let _ = writeln!(out, "<p class=\"doubt\">{}</p>", escape(error));
        }
        if recording.modes.is_empty() {
            continue;
        }
        out.push_str(
            "<div class=\"wide\"><table>\n<tr><th scope=\"col\">mode</th><th scope=\"col\">frequency, Hz</th><th scope=\"col\">damping, \
             %</th><th scope=\"col\">ring, s</th><th scope=\"col\">taps</th></tr>\n",
        );
        for (index, m) in recording.modes.iter().enumerate() {
            let name = m.name.clone().unwrap_or_default();
            let half = COVERAGE_95 * m.relative_damping_u_of_part();
            let _ = writeln!(
                out,
                "<tr><td>{} {}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                index + 1,
                escape(&name),
                with_interval(m.frequency_hz, COVERAGE_95 * m.frequency_hz_u_of_part()),
                with_interval(100.0 * m.damping_ratio, 100.0 * half * m.damping_ratio),
                with_interval(m.ring_time_s, half * m.ring_time_s),
                m.taps_used
            );
        }
        out.push_str("</table></div>\n");
    }
    out.push_str("</body>\n</html>\n");
    out
}

fn answer(out: &mut String, answer: &IndexAnswer) {
    let _ = writeln!(out, "<p class=\"answer\">{}.</p>", escape(&answer.sentence));
    for doubt in &answer.doubts {
        let _ = writeln!(out, "<p class=\"doubt\">{}</p>", escape(doubt));
    }
    if answer.rows.is_empty() {
        return;
    }
    out.push_str("<div class=\"wide\"><table>\n<tr>");
    answer.heads.iter().for_each(|head| out.push_str(&format!("<th scope=\"col\">{head}</th>")));
    out.push_str("</tr>\n");
    for row in &answer.rows {
        let cells: String = row.iter().map(|cell| format!("<td>{}</td>", escape(cell))).collect();
        let _ = writeln!(out, "<tr>{cells}</tr>");
    }
    out.push_str("</table></div>\n");
}
