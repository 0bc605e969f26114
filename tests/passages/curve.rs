//! Recall against false alarms for sets of costs: a text table, and a curve as SVG.

use std::fmt::Write as _;
use std::path::Path;

/// What a set of costs gives on the half that it was not set on.
pub struct Point {
    pub name: String,
    /// Percent of slips that are found.
    pub recall: f64,
    /// Percent of slips that their own rule names.
    pub own: f64,
    /// Errors and warnings in 100 sonorities of clean passages.
    pub false_alarms: f64,
    /// The same on open music, where there was any.
    pub open: Option<f64>,
}

pub fn text(points: &[Point]) -> String {
    let mut out = format!(
        "{:<28} {:>8} {:>8} {:>14} {:>14}\n",
        "costs", "found %", "own %", "false in 100", "open in 100"
    );
    for p in points {
        let _ = writeln!(
            out,
            "{:<28} {:>8.1} {:>8.1} {:>14.3} {:>14}",
            p.name,
            p.recall,
            p.own,
            p.false_alarms,
            p.open.map_or_else(|| "-".to_owned(), |o| format!("{o:.3}"))
        );
    }
    out
}

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 400.0;
const MARGIN: f64 = 60.0;

/// A value between two bounds as a share of them.
fn share(value: f64, low: f64, high: f64) -> f64 {
    if high > low {
        (value - low) / (high - low)
    } else {
        0.5
    }
}

/// False alarms to the right, recall upwards; one dot for each set of costs, joined in order of false alarms.
pub fn svg(points: &[Point]) -> String {
    let most = points.iter().map(|p| p.false_alarms).fold(0.1, f64::max);
    let least = points
        .iter()
        .map(|p| p.recall)
        .fold(100.0, f64::min)
        .min(99.0)
        .floor();
    let x = |p: &Point| MARGIN + share(p.false_alarms, 0.0, most) * (WIDTH - 2.0 * MARGIN);
    let y = |recall: f64| HEIGHT - MARGIN - share(recall, least, 100.0) * (HEIGHT - 2.0 * MARGIN);
    let mut sorted: Vec<&Point> = points.iter().collect();
    sorted.sort_by(|a, b| a.false_alarms.total_cmp(&b.false_alarms));
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {WIDTH} {HEIGHT}\" font-family=\"sans-serif\" font-size=\"12\">\n\
         <rect width=\"{WIDTH}\" height=\"{HEIGHT}\" fill=\"white\"/>\n"
    );
    let (left, right, bottom) = (MARGIN, WIDTH - MARGIN, HEIGHT - MARGIN);
    let _ = writeln!(
        out,
        "<path d=\"M{left} {MARGIN}V{bottom}H{right}\" fill=\"none\" stroke=\"black\"/>"
    );
    for step in 0..=4 {
        let part = f64::from(step) / 4.0;
        let recall = least + part * (100.0 - least);
        let alarms = part * most;
        let (tick_x, tick_y) = (MARGIN + part * (WIDTH - 2.0 * MARGIN), y(recall));
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{tick_y:.1}\" text-anchor=\"end\">{recall:.1}</text>",
            left - 6.0
        );
        let _ = writeln!(
            out,
            "<text x=\"{tick_x:.1}\" y=\"{:.1}\" text-anchor=\"middle\">{alarms:.2}</text>",
            bottom + 18.0
        );
    }
    let _ = writeln!(
        out,
        "<text x=\"{left}\" y=\"{:.1}\">slips found, percent</text>",
        MARGIN - 14.0
    );
    let _ = writeln!(
        out,
        "<text x=\"{right}\" y=\"{:.1}\" text-anchor=\"end\">errors and warnings in 100 sonorities of clean passages</text>",
        bottom + 38.0
    );
    let line: Vec<String> = sorted
        .iter()
        .map(|p| format!("{:.1},{:.1}", x(p), y(p.recall)))
        .collect();
    let _ = writeln!(
        out,
        "<polyline points=\"{}\" fill=\"none\" stroke=\"#246\" stroke-width=\"1.5\"/>",
        line.join(" ")
    );
    for p in sorted {
        let (at_x, at_y) = (x(p), y(p.recall));
        let name = p.name.replace('&', "&amp;").replace('<', "&lt;");
        let _ = writeln!(
            out,
            "<circle cx=\"{at_x:.1}\" cy=\"{at_y:.1}\" r=\"4\" fill=\"#246\"><title>{name}</title></circle>"
        );
        let _ = writeln!(
            out,
            "<text x=\"{:.1}\" y=\"{:.1}\">{name}</text>",
            at_x + 7.0,
            at_y - 5.0
        );
    }
    out.push_str("</svg>\n");
    out
}

/// Writes both into a folder.
pub fn write(points: &[Point], folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    std::fs::write(folder.join("recall.txt"), text(points))?;
    std::fs::write(folder.join("recall.svg"), svg(points))
}

#[test]
fn a_curve_has_a_dot_for_each_set_of_costs() {
    let point = |name: &str, recall, false_alarms| Point {
        name: name.to_owned(),
        recall,
        own: recall - 2.0,
        false_alarms,
        open: None,
    };
    let points = [
        point("lenient", 91.0, 0.02),
        point("strict & dear", 99.0, 0.4),
    ];
    let drawn = svg(&points);
    assert_eq!(drawn.matches("<circle").count(), 2);
    assert!(drawn.contains("strict &amp; dear"));
    assert_eq!(text(&points).lines().count(), 3);
    let folder = tempfile::tempdir().unwrap();
    write(&points, folder.path()).unwrap();
    assert!(folder.path().join("recall.svg").exists());
}
