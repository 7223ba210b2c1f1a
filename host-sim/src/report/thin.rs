//! Thins long series to what a picture can show, without losing a peak.

use std::fmt::Write;

use super::svg::At;

/// A path through the points. `None` breaks it. Of each unit of width the lowest and the highest point are kept.
pub fn path(points: impl Iterator<Item = Option<(f64, f64)>>) -> String {
    let mut data = String::new();
    let mut run = Vec::new();
    for point in points {
        match point.filter(|(x, y)| x.is_finite() && y.is_finite()) {
            Some(point) => run.push(point),
            None => write_run(&mut data, &mut run),
        }
    }
    write_run(&mut data, &mut run);
    data
}

fn write_run(data: &mut String, run: &mut Vec<(f64, f64)>) {
    let kept = without_flats(&extremes(run));
    run.clear();
    let tenths = |value: f64| (value * 10.0).round() as i64;
    let mut pen = None;
    for (x, y) in kept.iter().map(|(x, y)| (tenths(*x), tenths(*y))) {
        // Relative steps are shorter; taken between rounded places, they cannot drift.
        let (letter, from_x, from_y) = pen.map_or(('M', 0, 0), |(x, y)| ('l', x, y));
        let at = |tenths: i64| At(tenths as f64 / 10.0);
        let _ = write!(data, "{letter}{} {}", at(x - from_x), at(y - from_y));
        pen = Some((x, y));
    }
    if kept.len() == 1 {
        // A line of no length with round ends shows as a dot.
        data.push_str("h0");
    }
}

/// First and last point, and the lowest and highest of each column, in the order they came.
fn extremes(run: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut kept = Vec::new();
    let mut start = 0;
    while start < run.len() {
        let column = run[start].0.floor();
        let end = start + run[start..].iter().take_while(|(x, _)| x.floor() == column).count().max(1);
        let by_height = |a: &usize, b: &usize| run[*a].1.total_cmp(&run[*b].1);
        let lowest = (start..end).min_by(by_height).unwrap_or(start);
        let highest = (start..end).max_by(by_height).unwrap_or(start);
        let mut chosen = vec![lowest, highest];
        chosen.extend((start == 0).then_some(0));
        chosen.extend((end == run.len()).then_some(end - 1));
        chosen.sort_unstable();
        chosen.dedup();
        kept.extend(chosen.into_iter().map(|index| run[index]));
        start = end;
    }
    kept
}

/// Drops the inner points of stretches that are level once rounded.
fn without_flats(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let level = |a: (f64, f64), b: (f64, f64)| (a.1 * 10.0).round() == (b.1 * 10.0).round();
    let inner = |index: usize| {
        index > 0 && index + 1 < points.len() && level(points[index - 1], points[index]) && level(points[index], points[index + 1])
    };
    (0..points.len()).filter(|index| !inner(*index)).map(|index| points[index]).collect()
}

/// An area over `floor` whose height in each column is the mean of the values there, drawn as steps.
pub fn area(values: &[(f64, f64)], floor: f64, height: f64, right: f64) -> String {
    let mut columns: Vec<(f64, f64, f64)> = Vec::new();
    for (x, value) in values.iter().filter(|(x, value)| x.is_finite() && value.is_finite()) {
        let value = value.clamp(0.0, 1.0);
        match columns.last_mut().filter(|(start, ..)| start.floor() == x.floor()) {
            Some((_, sum, count)) => (*sum, *count) = (*sum + value, *count + 1.0),
            None => columns.push((*x, value, 1.0)),
        }
    }
    let mut data = String::new();
    let mut level = 0.0;
    for (x, sum, count) in columns {
        let mean = (sum / count * height * 10.0).round() / 10.0;
        if mean == level {
            continue;
        }
        let _ = match level == 0.0 {
            true => write!(data, "M{} {}V{}", At(x), At(floor), At(floor - mean)),
            false => write!(data, "H{}V{}", At(x), At(floor - mean)),
        };
        if mean == 0.0 {
            data.push('Z');
        }
        level = mean;
    }
    if level > 0.0 {
        let _ = write!(data, "H{}V{}Z", At(right), At(floor));
    }
    data
}
