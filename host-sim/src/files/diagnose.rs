//! What is wrong with a file, where, what was expected and what to do: the one error type of this module and how it is shown.
//!
//! A [`Diagnostic`] holds every problem found in one file, in the order of the file, so that a person mends it in one go.

use annotate_snippets::{AnnotationKind, Group, Level, Renderer, Snippet};
use std::fmt;
use std::io::IsTerminal;
use std::ops::Range;

/// What sort of problem it is. Tests and callers match on this; people read the text.
#[non_exhaustive]
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ProblemKind {
    /// The file could not be opened or read.
    Unreadable,
    /// The file is larger than any rig or sheet has reason to be.
    TooLarge,
    /// The file is not UTF-8 text.
    NotUtf8,
    /// The file is not XML.
    NotXml,
    /// The file is not JSON.
    NotJson,
    /// A document of a kind or version that is not known.
    UnknownFormat,
    /// The file is not TOML.
    NotToml,
    /// A key is given twice.
    DuplicateKey,
    /// A key that means nothing here.
    UnknownKey,
    /// A key that must be there is not.
    MissingKey,
    /// A value of the wrong TOML type.
    WrongType,
    /// Text that is not a number with a unit.
    NotAQuantity,
    /// A unit that does not measure this.
    WrongUnit,
    /// A quantity below zero where that has no meaning.
    Negative,
    /// A value outside the permitted range.
    OutOfRange,
    /// A word that is none of the permitted ones.
    UnknownWord,
    /// Two values that contradict each other.
    Conflict,
    /// The sheet heats a vessel whose element the rig does not name.
    MissingElement,
    /// The sheet uses a vessel that the rig lacks.
    MissingVessel,
    /// A target at or above the boiling point where the rig stands.
    AboveBoiling,
    /// A volume that does not fit its vessel, or that is not there.
    DoesNotFit,
    /// A volume that would leave an element uncovered while it heats.
    UncoveredElement,
    /// Steps in an order that no brew day has.
    StepOrder,
    /// An addition timed before its boil begins.
    LateAddition,
    /// More steps or additions than the controller holds.
    TooMany,
}

/// One thing that is wrong.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// What sort it is.
    pub kind: ProblemKind,
    /// What is wrong, in one line.
    pub message: String,
    /// What was expected, shown under the place.
    pub expected: String,
    /// What to do.
    pub remedy: String,
    /// Line of the place, from 1; 0 when the problem is with the file as a whole.
    pub line: usize,
    /// Column of the place in characters, from 1; 0 when the problem is with the file as a whole.
    pub column: usize,
    span: Option<Range<usize>>,
}

impl Problem {
    /// A problem at a byte range of the source. Line and column are filled in by [`Diagnostic::new`].
    pub(crate) fn at(
        kind: ProblemKind,
        span: Range<usize>,
        message: impl Into<String>,
        expected: impl Into<String>,
        remedy: impl Into<String>,
    ) -> Problem {
        let (message, expected, remedy) = (message.into(), expected.into(), remedy.into());
        Problem { kind, message, expected, remedy, line: 0, column: 0, span: Some(span) }
    }

    /// A problem with the file as a whole.
    pub(crate) fn whole(kind: ProblemKind, message: impl Into<String>, remedy: impl Into<String>) -> Problem {
        let (message, remedy) = (message.into(), remedy.into());
        Problem { kind, message, expected: String::new(), remedy, line: 0, column: 0, span: None }
    }
}

/// Everything that is wrong with one file. Never empty.
#[non_exhaustive]
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    path: String,
    source: String,
    problems: Vec<Problem>,
}

impl Diagnostic {
    /// Puts the problems in the order of the file and works out their lines and columns.
    pub(crate) fn new(path: impl Into<String>, source: impl Into<String>, problems: Vec<Problem>) -> Diagnostic {
        let source: String = source.into();
        let mut problems = problems;
        for problem in &mut problems {
            if let Some(span) = problem.span.take() {
                let span = fit(&source, span);
                (problem.line, problem.column) = place(&source, span.start);
                problem.span = Some(span);
            }
        }
        problems.sort_by_key(|p| p.span.as_ref().map_or((0, 0), |s| (s.start, s.end)));
        problems.dedup();
        Diagnostic { path: path.into(), source, problems }
    }

    /// The file's path as it was given, or the name of a built-in file.
    pub fn path(&self) -> &str {
        &self.path
    }

    /// The problems, in the order of the file. At least one.
    pub fn problems(&self) -> &[Problem] {
        &self.problems
    }

    /// The text to show, one block per problem, ending in a newline. The same input always gives the same text.
    /// `colour` adds terminal colours: pass [`wants_colour`].
    pub fn render(&self, colour: bool) -> String {
        let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
        let mut text = String::new();
        for problem in &self.problems {
            text.push_str(&renderer.render(&[self.group(problem)]));
            text.push_str("\n\n");
        }
        text.push_str(&match self.problems.len() {
            1 => format!("1 problem in {}\n", printable(&self.path)),
            n => format!("{n} problems in {}\n", printable(&self.path)),
        });
        text
    }

    fn group<'a>(&'a self, problem: &'a Problem) -> Group<'a> {
        let title = Level::ERROR.primary_title(printable(&problem.message));
        let group = match &problem.span {
            Some(span) => title.element(
                Snippet::source(self.source.as_str())
                    .path(printable(&self.path))
                    .annotation(AnnotationKind::Primary.span(span.clone()).label(printable(&problem.expected))),
            ),
            None => title.element(Level::NOTE.message(format!("the file is {}", printable(&self.path)))),
        };
        if problem.remedy.is_empty() { group } else { group.element(Level::HELP.message(printable(&problem.remedy))) }
    }
}

impl fmt::Display for Diagnostic {
    /// As [`Diagnostic::render`] without colour.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.render(false).trim_end())
    }
}

impl std::error::Error for Diagnostic {}

/// Whether standard error is a terminal that wants colour: not with `NO_COLOR` set to anything, nor with `TERM=dumb`.
pub fn wants_colour() -> bool {
    let refused = std::env::var_os("NO_COLOR").is_some_and(|v| !v.is_empty());
    let dumb = std::env::var_os("TERM").is_some_and(|v| v == "dumb");
    std::io::stderr().is_terminal() && !refused && !dumb
}

/// Text from a file or a path, made safe for a terminal: a control character must not move the cursor or change colours.
fn printable(text: &str) -> String {
    text.chars().map(|c| if c.is_control() && c != '\n' { '\u{fffd}' } else { c }).collect()
}

/// A byte range narrowed to lie within the text, on character borders.
fn fit(source: &str, span: Range<usize>) -> Range<usize> {
    let mut start = span.start.min(source.len());
    let mut end = span.end.clamp(start, source.len());
    while !source.is_char_boundary(start) {
        start -= 1;
    }
    while !source.is_char_boundary(end) {
        end += 1;
    }
    start..end
}

/// Line and column of a byte, both from 1, the column in characters.
pub(crate) fn place(source: &str, at: usize) -> (usize, usize) {
    let before = source.get(..at).unwrap_or(source);
    let line_start = before.rfind('\n').map_or(0, |i| i + 1);
    (before.matches('\n').count() + 1, before.get(line_start..).unwrap_or("").chars().count() + 1)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn problem(span: Range<usize>) -> Diagnostic {
        let what = Problem::at(ProblemKind::WrongUnit, span, "wrong unit", "a power", "write \"5500 W\"");
        Diagnostic::new("my.toml", "a = 1\nbé = \"5 L\"\n", vec![what])
    }

    #[test]
    fn counts_lines_from_one_and_columns_in_characters() {
        let shown = problem(12..17);
        assert_eq!((shown.problems()[0].line, shown.problems()[0].column), (2, 6));
    }

    #[test]
    fn shows_the_line_the_caret_and_the_remedy_without_escape_codes() {
        let text = problem(12..17).to_string();
        for part in
            ["error: wrong unit", "my.toml:2:6", "bé = \"5 L\"", "^^^^^ a power", "help: write \"5500 W\"", "1 problem in my.toml"]
        {
            assert!(text.contains(part), "no {part:?} in:\n{text}");
        }
        assert!(!text.contains('\u{1b}'));
        assert!(problem(12..17).render(true).contains('\u{1b}'));
    }

    #[test]
    fn a_span_off_the_end_or_inside_a_character_is_narrowed() {
        assert!(problem(900..1000).to_string().contains("wrong unit"));
        assert!(problem(8..8).to_string().contains("wrong unit"));
    }

    #[test]
    fn escape_codes_in_a_file_do_not_reach_the_terminal() {
        let what = Problem::at(ProblemKind::UnknownKey, 0..3, "odd \u{1b}[31m key", "x", "y");
        let text = Diagnostic::new("a\u{1b}[2J", "\u{1b}[0m = 1", vec![what]).to_string();
        assert!(!text.contains('\u{1b}'), "{text:?}");
    }
}
