//! Which of many hang together.

/// The strongly connected parts of a graph, each before those it leads to (Kosaraju's two passes, without recursion).
pub(crate) fn strongly_connected(out: &[Vec<usize>]) -> Vec<Vec<usize>> {
    let mut back = vec![Vec::new(); out.len()];
    for (from, tos) in out.iter().enumerate() {
        for to in tos {
            back[*to].push(from);
        }
    }
    let mut finished = Vec::with_capacity(out.len());
    let mut seen = vec![false; out.len()];
    for root in 0..out.len() {
        walk(out, root, &mut seen, &mut finished);
    }
    let mut taken = vec![false; out.len()];
    let mut parts = Vec::new();
    for root in finished.into_iter().rev() {
        let mut part = Vec::new();
        walk(&back, root, &mut taken, &mut part);
        if !part.is_empty() {
            part.sort_unstable();
            parts.push(part);
        }
    }
    parts
}

/// Adds to `finished` all that can be reached from `root` and was not seen, each after what it leads to.
fn walk(out: &[Vec<usize>], root: usize, seen: &mut [bool], finished: &mut Vec<usize>) {
    if std::mem::replace(&mut seen[root], true) {
        return;
    }
    let mut path = vec![(root, 0)];
    while let Some((at, next)) = path.last_mut() {
        if let Some(to) = out[*at].get(*next) {
            *next += 1;
            if !std::mem::replace(&mut seen[*to], true) {
                path.push((*to, 0));
            }
        } else {
            finished.push(*at);
            path.pop();
        }
    }
}
