//! What the HTML of mails and pages shares: escaping, the style sheet, the frame.
//!
//! Phone first, light and dark by the reader's own setting, nothing fetched from elsewhere, levels
//! by word and shape before colour. Colours keep a contrast of at least 4.5 to 1 (WCAG 2.2, 1.4.3).

use super::text::glued;
use super::words::{self, Paragraph};
use crate::judge::Level;

/// Text made safe for HTML content and quoted attributes.
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            // Control characters are no text; a mail client may refuse the whole part for one.
            c if c.is_control() && c != '\n' && c != '\t' => {}
            c => out.push(c),
        }
    }
    out
}

/// As [`escape`], with `code` in backquotes set as such and numbers kept with their units.
pub fn rich(text: &str) -> String {
    let mut out = String::new();
    for (i, part) in escape(&glued(text)).split('`').enumerate() {
        if i % 2 == 1 { out.push_str(&format!("<code>{part}</code>")) } else { out.push_str(part) }
    }
    out
}

/// The level's class, shape and word: `▲ warning`.
pub fn level(level: Level) -> String {
    format!("<span class=\"level {0}\">{1} {0}</span>", level.word(), words::shape(level))
}

/// A whole document in the house style.
pub fn document(title: &str, extra_style: &str, body: &str) -> String {
    format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n\
         <meta name=\"color-scheme\" content=\"light dark\">\n<meta name=\"supported-color-schemes\" content=\"light dark\">\n\
         <title>{}</title>\n<style>\n{STYLE}{extra_style}</style>\n</head>\n<body>\n{body}</body>\n</html>\n",
        escape(title)
    )
}

/// A letter: what it says as its main landmark, the caution at its foot.
pub fn letter(subject: &str, body: &str) -> String {
    document(subject, "", &format!("<main>\n{body}</main>\n{}", foot()))
}

/// The caution at the foot of letters and pages.
pub fn foot() -> String {
    format!("<footer><p class=\"foot\">{}</p></footer>\n", escape(words::CAUTION))
}

/// A titled paragraph of an explanation.
pub fn paragraph(p: &Paragraph, heading: &str) -> String {
    let mut out = format!("<{heading}>{}</{heading}>\n", escape(&p.title));
    if p.steps {
        let items: String = p.lines.iter().map(|l| format!("<li>{}</li>\n", rich(l))).collect();
        out.push_str(&format!("<ol>\n{items}</ol>\n"));
    } else {
        out.push_str(&p.lines.iter().map(|l| format!("<p>{}</p>\n", rich(l))).collect::<String>());
    }
    out
}

/// A plain list.
pub fn list(lines: &[String]) -> String {
    let items: String = lines.iter().map(|l| format!("<li>{}</li>\n", rich(l))).collect();
    format!("<ul>\n{items}</ul>\n")
}

/// The style of mails and pages.
const STYLE: &str = ":root { color-scheme: light dark; --ground: #ffffff; --raised: #f3f4f1; --ink: #1d2326; --soft: #545e63;
  --rule: #cfd4d1; --warning: #a3161a; --caution: #7a5200; --advisory: #2c5876; --link: #1f5673; }
@media (prefers-color-scheme: dark) { :root { --ground: #15191b; --raised: #20262a; --ink: #e7ebe9; --soft: #aab4b5;
  --rule: #3b4448; --warning: #ff938c; --caution: #f2bf5a; --advisory: #92c5e4; --link: #92c5e4; } }
body { margin: 0 auto; padding: 12px 14px 32px; max-width: 720px; background: var(--ground); color: var(--ink);
  font: 16px/1.45 system-ui, -apple-system, 'Segoe UI', sans-serif; }
h1 { font-size: 1rem; font-weight: 600; margin: 0 0 4px; color: var(--soft); }
h2 { font-size: 1.05rem; margin: 26px 0 8px; padding-bottom: 3px; border-bottom: 1px solid var(--rule); }
h3 { font-size: 1rem; margin: 16px 0 4px; }
h4 { font-size: .88rem; margin: 12px 0 2px; color: var(--soft); font-weight: 600; }
p { margin: 2px 0; }
ul, ol { margin: 4px 0; padding-left: 24px; }
code { font: .92em ui-monospace, monospace; }
a { color: var(--link); }
a:focus-visible, [tabindex]:focus-visible { outline: 3px solid var(--link); outline-offset: 2px; }
.sum { font-size: 1.3rem; line-height: 1.3; font-weight: 650; margin: 0 0 8px; }
.item { margin: 10px 0; padding: 8px 10px 8px 12px; border-left: 5px solid var(--rule); background: var(--raised); }
.item.warning { border-left: 8px solid var(--warning); }
.item.caution { border-left: 5px double var(--caution); }
.item.advisory { border-left: 2px solid var(--advisory); }
.item p.facts { font-size: .92rem; color: var(--soft); }
.level { font-weight: 650; white-space: nowrap; }
.level.warning { color: var(--warning); } .level.caution { color: var(--caution); } .level.advisory { color: var(--advisory); }
.mark { font-weight: 650; border: 1px solid currentColor; border-radius: 3px; padding: 0 5px; font-size: .82rem; }
.soft, .foot { color: var(--soft); font-size: .88rem; }
footer { margin-top: 26px; padding-top: 8px; border-top: 1px solid var(--rule); }
table { border-collapse: collapse; width: 100%; font-variant-numeric: tabular-nums; }
th, td { text-align: left; vertical-align: top; padding: 6px 8px 6px 0; border-bottom: 1px solid var(--rule); }
th { font-weight: 600; } thead th { font-size: .85rem; color: var(--soft); }
td small, th small { display: block; color: var(--soft); font-size: .82rem; font-weight: 400; }
img { max-width: 100%; height: auto; border-radius: 3px; }
";

/// The charts' inks in the reader's own colours, for pages with SVG in them.
pub const CHART_INKS: &str = "svg [fill='#F8F9F6'] { fill: var(--raised); }
svg [fill='#1D2326'] { fill: var(--ink); } svg [stroke='#1D2326'] { stroke: var(--ink); }
svg [fill='#545E63'] { fill: var(--soft); } svg [stroke='#545E63'] { stroke: var(--soft); }
svg [stroke='#DADEDB'] { stroke: var(--rule); }
svg [fill='#1F5673'] { fill: var(--link); } svg [stroke='#1F5673'] { stroke: var(--link); }
svg [fill='#A3161A'] { fill: var(--warning); } svg [stroke='#A3161A'] { stroke: var(--warning); }
svg [stroke='#7A5200'] { stroke: var(--caution); }
";

#[cfg(test)]
mod tests {
    use super::*;

    /// Remarks come from anybody's spreadsheet.
    #[test]
    fn text_from_outside_cannot_become_markup() {
        assert_eq!(escape("<b a=\"x\">&'\u{7}"), "&lt;b a=&quot;x&quot;&gt;&amp;&#39;");
        assert_eq!(rich("enter `oil-changed` <now>"), "enter <code>oil-changed</code> &lt;now&gt;");
    }

    /// WCAG 2.2, definitions of relative luminance and contrast ratio (w3.org/TR/WCAG22/#dfn-relative-luminance).
    fn contrast(a: &str, b: &str) -> f64 {
        let channel = |hex: &str, i: usize| {
            let c = f64::from(u8::from_str_radix(&hex[i..i + 2], 16).unwrap_or(0)) / 255.0;
            if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        };
        let light = |hex: &str| 0.2126 * channel(hex, 1) + 0.7152 * channel(hex, 3) + 0.0722 * channel(hex, 5);
        let (x, y) = (light(a), light(b));
        (x.max(y) + 0.05) / (x.min(y) + 0.05)
    }

    #[test]
    fn every_ink_can_be_read_on_every_ground() {
        let value = |part: &str, name: &str| -> String {
            part.split(&format!("--{name}: ")).nth(1).and_then(|r| r.get(..7)).unwrap_or("#000000").to_owned()
        };
        let (light, dark) = STYLE.split_once("@media").unwrap_or_default();
        for part in [light, dark] {
            for ground in ["ground", "raised"] {
                for ink in ["ink", "soft", "warning", "caution", "advisory", "link"] {
                    let c = contrast(&value(part, ink), &value(part, ground));
                    assert!(c >= 4.5, "{ink} on {ground}: {c:.2}");
                }
            }
        }
        assert!((contrast("#ffffff", "#000000") - 21.0).abs() < 1e-9);
    }
}
