//! The diary's first page: one self-contained HTML file with the answers, pictures and tables of a bench.

use std::fmt::Write;

use base64::Engine;

use super::comparison::ratio;
use super::document::Document;
use super::numbers::with_interval;
use crate::compare::Comparison;
use crate::modes::COVERAGE_95;

/// A part on the page.
pub struct IndexPart {
    pub name: String,
    pub kind: String,
    pub notes: Vec<String>,
    /// Stations, each with its comparisons and its picture (PNG).
    pub stations: Vec<(String, Vec<Comparison>, Option<Vec<u8>>)>,
    /// Other pictures (PNG): what they show, and the bytes.
    pub pictures: Vec<(String, Vec<u8>)>,
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

fn picture(out: &mut String, png: &[u8], shows: &str) {
    let data = base64::engine::general_purpose::STANDARD.encode(png);
    // Writing to a string cannot fail.
    let _ = writeln!(out, "<p><img alt=\"{}\" src=\"data:image/png;base64,{data}\"></p>", escape(shows));
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
    for part in input.parts {
        let _ = writeln!(out, "<h2>{} <span class=\"muted\">({})</span></h2>", escape(&part.name), escape(&part.kind));
        for note in &part.notes {
            let _ = writeln!(out, "<p>{}</p>", escape(note));
        }
        for (station, comparisons, png) in &part.stations {
            let _ = writeln!(out, "<h3>Station {}</h3>", escape(station));
            for c in comparisons {
                let _ = writeln!(out, "<p class=\"answer\">{}.</p>", escape(&c.answer()));
                for note in &c.notes {
                    let _ = writeln!(out, "<p class=\"doubt\">{}</p>", escape(note));
                }
                comparison_table(&mut out, c);
            }
            if let Some(png) = png {
                picture(&mut out, png, &format!("Ratios to the baseline with their intervals, station {station}"));
            }
        }
        for (shows, png) in &part.pictures {
            picture(&mut out, png, shows);
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
            let _ = writeln!(
                out,
                "<tr><td>{} {}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>",
                index + 1,
                escape(&name),
                with_interval(m.frequency_hz, COVERAGE_95 * m.frequency_hz_u),
                with_interval(100.0 * m.damping_ratio, 100.0 * COVERAGE_95 * m.damping_ratio_u),
                with_interval(m.ring_time_s, COVERAGE_95 * m.ring_time_s_u),
                m.taps_used
            );
        }
        out.push_str("</table></div>\n");
    }
    out.push_str("</body>\n</html>\n");
    out
}

fn comparison_table(out: &mut String, c: &Comparison) {
    if c.whole.is_empty() {
        return;
    }
    out.push_str(
        "<div class=\"wide\"><table>\n<tr><th scope=\"col\">times the baseline</th><th scope=\"col\">ratio (95 %)</th><th \
         scope=\"col\">verdict</th></tr>\n",
    );
    for row in &c.whole {
        let _ = writeln!(
            out,
            "<tr><td>{}</td><td>{}</td><td>{}</td></tr>",
            escape(&row.what),
            ratio(row),
            escape(&row.ratio.verdict.sentence())
        );
    }
    out.push_str("</table></div>\n");
}
