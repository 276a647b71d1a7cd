//! Colours and lines of all charts.

/// Colours as CSS variables, light and dark, for files that stand by themselves. Pages say the same ones.
pub const COLOURS: &str = "\
:root{color-scheme:light dark;--paper:#fff;--ink:#14181c;--faint:#4a525a;--grid:#d5dae0;--sweet:#0072b2;--hands:#b34a00;--mark:#00795a;\
--then:#0072b2;font-family:system-ui,-apple-system,'Segoe UI',Roboto,'Liberation Sans',sans-serif}\
@media(prefers-color-scheme:dark){:root{--paper:#101418;--ink:#eef1f4;--faint:#b4bcc5;--grid:#333b44;--sweet:#56b4e9;\
--hands:#e69f00;--mark:#4cc7a0;--then:#56b4e9}}";

/// Lines of the charts, by those variables: for pages that say the colours themselves.
pub const RULES: &str = "\
.chart{font-size:19px;display:block;max-width:100%;height:auto;background:var(--paper)}\
.chart text{fill:var(--faint)}.chart .title{fill:var(--ink);font-size:21px;font-weight:650}\
.chart .about,.chart .small{font-size:15.5px}.chart .grid{stroke:var(--grid);stroke-width:1}\
.chart .zero{stroke:var(--faint);stroke-width:1.5}.chart .start{stroke:var(--faint);stroke-width:1.5;stroke-dasharray:2 5}\
.chart .line{fill:none;stroke-linejoin:round;stroke-linecap:round;stroke-width:1.2;stroke-opacity:.38}\
.chart .line.middle{stroke-width:1.6;stroke-opacity:.85}.chart .line.bold{stroke-width:4;stroke-opacity:1}\
.chart .sweet{stroke:var(--sweet)}.chart .hands{stroke:var(--hands)}.chart .line.hands{stroke-dasharray:6 4.5}\
.chart .line.hands.bold{stroke-dasharray:9 7}.chart .band{stroke:none;fill-opacity:.2}\
.chart .band.sweet{fill:var(--then)}.chart .band.hands{fill:var(--hands)}\
.chart .bat{stroke:var(--faint);stroke-width:1.4;stroke-opacity:.5}\
.chart .bat.last{stroke:var(--ink);stroke-width:5;stroke-opacity:1;stroke-linecap:round}\
.chart .pitch{fill:none;stroke:var(--ink);stroke-width:2;stroke-dasharray:14 7}.chart .arrow{fill:var(--ink)}\
.chart .square{fill:none;stroke:var(--mark);stroke-width:13;stroke-opacity:.5}.chart .edge{stroke:var(--mark);stroke-width:3}\
.chart circle.mark{fill:var(--mark);stroke:var(--paper);stroke-width:2}\
.chart .name{font-size:18px;font-weight:650;paint-order:stroke;stroke:var(--paper);stroke-width:4;stroke-linejoin:round}\
.chart .name.thin{font-weight:450}.chart text.sweet{fill:var(--sweet)}.chart text.hands{fill:var(--hands)}.chart text.mark{fill:var(--mark)}\
.chart text.ink{fill:var(--ink)}\
.chart .join{fill:none;stroke-width:2}.chart .spread{stroke-width:3;stroke-opacity:.6}.chart .mean{stroke:var(--paper);stroke-width:2}\
.chart .join.one,.chart .spread.one{stroke:var(--sweet)}.chart .mean.one,.chart text.one{fill:var(--sweet)}\
.chart .join.two,.chart .spread.two{stroke:var(--hands)}.chart .mean.two,.chart text.two{fill:var(--hands)}\
.chart .join.three,.chart .spread.three{stroke:var(--mark)}.chart .mean.three,.chart text.three{fill:var(--mark)}\
.chart .join.two{stroke-dasharray:9 6}.chart .join.three{stroke-dasharray:2 5}\
.chart .line.now,.chart .rim.now{stroke:var(--sweet)}.chart .line.then,.chart .rim.then{stroke:var(--faint)}\
.chart .line.now{stroke-width:3;stroke-opacity:1}.chart .line.then{stroke-width:2.5;stroke-opacity:1;stroke-dasharray:9 7}\
.chart .line.now.bold{stroke-width:4}.chart .line.then.bold{stroke-width:3.5}\
.chart .rim{fill:none;stroke-width:1.2;stroke-opacity:.85}.chart .rim.then{stroke-dasharray:3 4}\
.chart .band.now{fill:var(--sweet)}.chart .band.then{fill:var(--faint)}\
.chart text.now{fill:var(--sweet)}.chart .bat.last.then{stroke:var(--faint);stroke-width:3;stroke-dasharray:9 7}\
.chart .differs{fill:var(--ink)}.chart .zone{fill:var(--grid)}.chart .over{paint-order:stroke;stroke:var(--paper);stroke-width:4;stroke-linejoin:round}.chart .interval{stroke:var(--ink);stroke-width:3}\
.chart .dot{fill:var(--ink);stroke:var(--ink);stroke-width:2.5}.chart .dot.hollow{fill:var(--paper)}\
.chart .hit{fill:var(--sweet);stroke:var(--paper);stroke-width:1}.chart .median{stroke:var(--ink);stroke-width:4}\
.chart .hatch{stroke:var(--faint);stroke-width:1.5}.chart .if{fill:none;stroke:var(--faint);stroke-width:1.5;stroke-dasharray:5 4}";

#[cfg(test)]
mod tests {
    use super::*;

    const PAGE: &str = include_str!("../../daemon/page/assets/page.css");

    /// The variables of a block of CSS, with their colours.
    fn colours(css: &str) -> Vec<(&str, &str)> {
        let pairs = css.split(['{', ';', '}']).filter_map(|rule| rule.trim().strip_prefix("--")?.split_once(':'));
        pairs.filter(|(_, colour)| colour.starts_with('#')).collect()
    }

    /// Of sRGB (WCAG 2.2, "relative luminance").
    fn luminance(colour: &str) -> f64 {
        let digits: Vec<u32> = colour.chars().skip(1).map(|c| c.to_digit(16).unwrap()).collect();
        let channel =
            |i: usize| if digits.len() == 3 { digits[i] * 17 } else { digits[2 * i] * 16 + digits[2 * i + 1] };
        let linear = |c: f64| if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) };
        let part = |i: usize| linear(f64::from(channel(i)) / 255.0);
        0.2126 * part(0) + 0.7152 * part(1) + 0.0722 * part(2)
    }

    fn contrast(a: &str, b: &str) -> f64 {
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    /// The pages' schemes: light, dark as the device has it, dark as somebody chose it, and light with what differs in print.
    fn schemes() -> [Vec<(&'static str, &'static str)>; 4] {
        let block = |after: &str| {
            let (_, rules) = PAGE.split_once(after).unwrap_or_else(|| panic!("{after}"));
            colours(&rules[..rules.find('}').unwrap()])
        };
        let light = block("*/\n:root{");
        let mut print = block("\n:root,:root:not([data-look=light]),:root[data-look=dark]{");
        print.extend(light.clone());
        let dark = [block(":root:not([data-look=light]){"), block("\n:root[data-look=dark]{")];
        assert_eq!(dark[0], dark[1]);
        let [as_device, chosen] = dark;
        [light, as_device, chosen, print]
    }

    /// A colour laid over another one.
    fn over(colour: &str, paper: &str, opacity: f64) -> String {
        let channel = |colour: &str, i: usize| {
            let short = colour.len() == 4;
            let digits = if short { colour[i + 1..i + 2].repeat(2) } else { colour[2 * i + 1..2 * i + 3].to_owned() };
            f64::from(u8::from_str_radix(&digits, 16).unwrap())
        };
        let mixed = |i: usize| opacity * channel(colour, i) + (1.0 - opacity) * channel(paper, i);
        format!("#{:02x}{:02x}{:02x}", mixed(0).round() as u8, mixed(1).round() as u8, mixed(2).round() as u8)
    }

    #[test]
    fn words_lines_and_edges_can_be_told_from_what_is_behind_them() {
        assert!((contrast("#fff", "#000000") - 21.0).abs() < 1e-9);
        for scheme in schemes() {
            // In print what is said last counts, and stands first here.
            let of = |name: &str| scheme.iter().find(|(n, _)| *n == name).unwrap_or_else(|| panic!("{name}")).1;
            let at_least = |name: &str, behind: &str, least: f64| {
                let is = contrast(of(name), of(behind));
                assert!(is >= least, "{name} on {behind}: {is:.2} in {scheme:?}");
            };
            // The figures of proto-docs/pages.md, "Colours".
            for behind in ["paper", "raised", "care"] {
                ["ink", "faint"].into_iter().for_each(|words| at_least(words, behind, 7.1));
                ["sweet", "hands", "mark", "then"].into_iter().for_each(|words| at_least(words, behind, 4.6));
                ["line", "edge"].into_iter().for_each(|edge| at_least(edge, behind, 3.2));
                at_least("on", behind, 6.6);
            }
            ["sweet", "hands", "mark"].into_iter().for_each(|words| at_least(words, "paper", 5.1));
            at_least("on", "paper", 7.3);
            at_least("on-ink", "on", 7.3);
            at_least("ink", "grid", 9.0);
            for line in ["sweet", "hands", "faint"] {
                let drawn = |opacity| contrast(&over(of(line), of("paper"), opacity), of("paper"));
                assert!(RULES.contains("stroke-opacity:.85") && drawn(0.85) >= 3.9, "the median of earlier ones");
                assert!(RULES.contains("stroke-opacity:.38") && drawn(0.38) >= 1.7, "each of earlier ones");
            }
            assert!(RULES.contains(".line.now,.chart .rim.now{stroke:var(--sweet)}"), "now as the sweet spot");
            assert!(RULES.contains(".line.then,.chart .rim.then{stroke:var(--faint)}"), "then as fainter words");
            assert!(
                RULES.contains(".rim{fill:none;stroke-width:1.2;stroke-opacity:.85}"),
                "as the median of earlier ones"
            );
        }
    }

    #[test]
    fn pages_say_the_same_colours() {
        let (light, dark) = COLOURS.split_once("@media").unwrap();
        let (page_light, page_dark) = PAGE.split_once("@media").unwrap();
        for (ours, page) in [(light, page_light), (dark, page_dark.split("}}").next().unwrap())] {
            let theirs = colours(page);
            for colour in colours(ours) {
                assert!(theirs.contains(&colour), "{colour:?}");
            }
        }
    }
}
