//! XML text under construction.

/// XML text under construction, indented by its depth.
#[derive(Default)]
pub(super) struct XmlText {
    pub text: String,
    pub depth: usize,
}

impl XmlText {
    pub(super) fn line(&mut self, line: &str) {
        for _ in 0..self.depth {
            self.text.push_str("  ");
        }
        self.text.push_str(line);
        self.text.push('\n');
    }

    /// Opens an element; attributes may follow its name.
    pub(super) fn open(&mut self, tag: &str) {
        self.line(&format!("<{tag}>"));
        self.depth += 1;
    }

    pub(super) fn close(&mut self, name: &str) {
        self.depth = self.depth.saturating_sub(1);
        self.line(&format!("</{name}>"));
    }

    pub(super) fn element(&mut self, name: &str, content: &str) {
        self.line(&format!("<{name}>{}</{name}>", escape(content)));
    }
}

/// Text as it may stand in an element or an attribute. What XML 1.0 has no room for becomes a
/// space.
pub(super) fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\u{0}'..='\u{1f}' | '\u{fffe}' | '\u{ffff}' => out.push(' '),
            c => out.push(c),
        }
    }
    out
}
