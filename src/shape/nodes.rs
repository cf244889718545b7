//! An outline as rings of nodes with handles, and what a hand does to them.

use kurbo::{BezPath, CubicBez, ParamCurve, PathEl, Point, Shape as _};

/// Two nodes nearer than this are one, in units of the outline.
const SAME: f64 = 1e-6;
/// Nodes of two outlines that meet lie within this of each other.
const MEET: f64 = 1.5;

/// Where the outline passes, and its handles before and behind; `None`: a line.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Node {
    at: Point,
    before: Option<Point>,
    behind: Option<Point>,
}

/// What is done to nodes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum NodeWork {
    /// A new node half way to the next.
    Insert,
    /// They go; the others keep their handles.
    Remove,
    /// Their handles point to their neighbours.
    Corner,
    /// Their handles lie in one line, as a smooth line through the neighbours would have them.
    Smooth,
    /// The whole outline is mirrored, left to right, in its place.
    Mirror,
    /// Two nodes of one ring part it in two.
    Split,
    /// With another outline that shares an edge: what `Split` parted.
    Join,
}

/// `path` after `work` on `chosen` nodes, each by its ring and its place in the ring; two outlines after a split. `other` is what it
/// is joined with.
///
/// # Errors
/// What cannot be done, in words.
pub fn work_nodes(
    path: &BezPath,
    work: NodeWork,
    chosen: &[[usize; 2]],
    other: Option<&BezPath>,
) -> Result<Vec<BezPath>, String> {
    let mut rings = rings(path);
    if chosen.iter().any(|&[ring, node]| rings.get(ring).is_none_or(|nodes| node >= nodes.len())) {
        return Err("a node that was chosen is not there any more".to_owned());
    }
    match work {
        NodeWork::Insert => {
            for [ring, node] in backwards(chosen) {
                insert(&mut rings[ring], node);
            }
        }
        NodeWork::Remove => {
            for [ring, node] in backwards(chosen) {
                rings[ring].remove(node);
            }
            rings.retain(|nodes| {
                nodes.len() > 2
                    || nodes.len() == 2 && nodes.iter().any(|node| node.before.is_some() || node.behind.is_some())
            });
            if rings.is_empty() {
                return Err("that would take the whole outline away; take the piece away instead".to_owned());
            }
        }
        NodeWork::Corner | NodeWork::Smooth => {
            for &[ring, node] in chosen {
                turn(&mut rings[ring], node, work == NodeWork::Smooth);
            }
        }
        NodeWork::Mirror => {
            let middle = path.bounding_box().center().x;
            let mirror = kurbo::Affine::new([-1.0, 0.0, 0.0, 1.0, 2.0 * middle, 0.0]);
            return Ok(vec![mirror * drawn(&rings)]);
        }
        NodeWork::Split => {
            let &[[ring, a], [same, b]] = chosen else { return Err("choose two nodes to split it between".to_owned()) };
            let (a, b) = (a.min(b), a.max(b));
            let count = rings[ring].len();
            if ring != same || b - a < 2 || a + count - b < 2 {
                return Err("choose two nodes of one line around the piece, with other nodes between them".to_owned());
            }
            let nodes = rings[ring].clone();
            let part = |from: usize, to: usize| -> Vec<Node> {
                let mut part: Vec<Node> = (from..=to).map(|i| nodes[i % count]).collect();
                // The cut itself is straight.
                part[0].before = None;
                part.last_mut().expect("two nodes").behind = None;
                part
            };
            rings[ring] = part(a, b);
            return Ok(vec![drawn(&rings), drawn(&[part(b, a + count)])]);
        }
        NodeWork::Join => {
            let others = self::rings(other.ok_or("choose another piece to join it with")?);
            return joined(rings, others).map(|rings| vec![drawn(&rings)]).ok_or_else(|| {
                "the two do not meet along an edge between the same two nodes; move their nodes onto each other first".to_owned()
            });
        }
    }
    Ok(vec![drawn(&rings)])
}

/// The last first, so that those before keep their places; each once.
fn backwards(chosen: &[[usize; 2]]) -> Vec<[usize; 2]> {
    let mut all = chosen.to_vec();
    all.sort_unstable_by(|a, b| b.cmp(a));
    all.dedup();
    all
}

fn rings(path: &BezPath) -> Vec<Vec<Node>> {
    let mut rings: Vec<Vec<Node>> = Vec::new();
    let plain = |at| Node { at, before: None, behind: None };
    for element in path.elements() {
        let pen = rings.last().and_then(|nodes| nodes.last()).map_or(Point::ZERO, |node| node.at);
        let (a, b, to) = match *element {
            PathEl::MoveTo(at) => {
                rings.push(vec![plain(at)]);
                continue;
            }
            PathEl::LineTo(at) => {
                rings.last_mut().into_iter().for_each(|nodes| nodes.push(plain(at)));
                continue;
            }
            PathEl::CurveTo(a, b, to) => (a, b, to),
            PathEl::QuadTo(by, to) => {
                let raised = kurbo::QuadBez::new(pen, by, to).raise();
                (raised.p1, raised.p2, to)
            }
            PathEl::ClosePath => continue,
        };
        if let Some(nodes) = rings.last_mut() {
            nodes.last_mut().expect("a ring begins with a node").behind = Some(a);
            nodes.push(Node { before: Some(b), ..plain(to) });
        }
    }
    for nodes in &mut rings {
        if let [first, .., last] = nodes.as_slice()
            && first.at.distance(last.at) < SAME
        {
            nodes[0].before = last.before;
            nodes.pop();
        }
    }
    rings.retain(|nodes| nodes.len() > 1);
    rings
}

fn drawn(rings: &[Vec<Node>]) -> BezPath {
    let mut path = BezPath::new();
    for nodes in rings {
        path.move_to(nodes[0].at);
        for (i, a) in nodes.iter().enumerate() {
            let b = nodes[(i + 1) % nodes.len()];
            match (a.behind, b.before) {
                (None, None) if i + 1 < nodes.len() => path.line_to(b.at),
                (None, None) => {}
                (out, back) => path.curve_to(out.unwrap_or(a.at), back.unwrap_or(b.at), b.at),
            }
        }
        path.close_path();
    }
    path
}

fn insert(nodes: &mut Vec<Node>, index: usize) {
    let next = (index + 1) % nodes.len();
    let (a, b) = (nodes[index], nodes[next]);
    let new = if a.behind.is_none() && b.before.is_none() {
        Node { at: a.at.midpoint(b.at), before: None, behind: None }
    } else {
        let cubic = CubicBez::new(a.at, a.behind.unwrap_or(a.at), b.before.unwrap_or(b.at), b.at);
        let (first, second) = (cubic.subsegment(0.0..0.5), cubic.subsegment(0.5..1.0));
        nodes[index].behind = Some(first.p1);
        nodes[next].before = Some(second.p2);
        Node { at: first.p3, before: Some(first.p2), behind: Some(second.p1) }
    };
    nodes.insert(index + 1, new);
}

/// Handles a third of the way to the neighbours: towards them, or along the line from one to the other.
fn turn(nodes: &mut [Node], index: usize, smooth: bool) {
    let count = nodes.len();
    let (at, [before, behind]) = (nodes[index].at, [index + count - 1, index + 1].map(|i| nodes[i % count].at));
    let through = (behind - before).normalize();
    let handle = |to: Point, sign: f64| {
        let way = to - at;
        at + if smooth { through * (sign * way.hypot() / 3.0) } else { way / 3.0 }
    };
    nodes[index].before = Some(handle(before, -1.0));
    nodes[index].behind = Some(handle(behind, 1.0));
}

/// Two outlines as one, along an edge that they share.
fn joined(mut rings: Vec<Vec<Node>>, mut others: Vec<Vec<Node>>) -> Option<Vec<Vec<Node>>> {
    // Of edges that meet the nearest pair, and how far apart it is: short edges lie near many others.
    let meet = |one: &[Node], other: &[Node]| -> Option<(f64, usize, usize)> {
        let (n, m) = (one.len(), other.len());
        let far = |a: &Node, b: &Node| a.at.distance(b.at);
        let pairs = (0..n).flat_map(|i| (0..m).map(move |j| (i, j)));
        let apart =
            |(i, j): (usize, usize)| (far(&one[i], &other[(j + 1) % m]).max(far(&one[(i + 1) % n], &other[j])), i, j);
        pairs.map(apart).filter(|(apart, ..)| *apart <= MEET).min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let all = (0..rings.len()).flat_map(|r| (0..others.len()).flat_map(move |o| [(r, o, false), (r, o, true)]));
    let found = all.filter_map(|(r, o, turned)| {
        let there = if turned { reversed(&others[o]) } else { others[o].clone() };
        meet(&rings[r], &there).map(|(apart, i, j)| (apart, r, o, turned, (i, j)))
    });
    let (_, ring, other, turned, (i, j)) = found.min_by(|a, b| a.0.total_cmp(&b.0))?;
    let one = rings[ring].clone();
    let second = others.remove(other);
    let second = if turned { reversed(&second) } else { second };
    let (n, m) = (one.len(), second.len());
    // Around the first from behind the edge to before it, then around the second.
    let mut nodes: Vec<Node> = (1..=n).map(|k| one[(i + k) % n]).collect();
    let more: Vec<Node> = (1..=m).map(|k| second[(j + k) % m]).collect();
    nodes.last_mut()?.behind = more[0].behind;
    nodes[0].before = more[m - 1].before;
    nodes.extend_from_slice(&more[1..m - 1]);
    rings[ring] = nodes;
    rings.extend(others);
    Some(rings)
}

fn reversed(nodes: &[Node]) -> Vec<Node> {
    nodes.iter().rev().map(|node| Node { at: node.at, before: node.behind, behind: node.before }).collect()
}

#[cfg(test)]
mod tests {
    use kurbo::Vec2;

    use super::*;

    fn circle() -> BezPath {
        kurbo::Circle::new((50.0, 50.0), 30.0).to_path(1e-3)
    }

    fn one(path: &BezPath, work: NodeWork, chosen: &[[usize; 2]]) -> BezPath {
        work_nodes(path, work, chosen, None).expect("it can be done").remove(0)
    }

    #[test]
    fn a_node_between_changes_no_shape_and_taken_away_again_hardly() {
        let path = circle();
        let nodes = rings(&path)[0].len();
        let more = one(&path, NodeWork::Insert, &[[0, 0], [0, 2]]);
        assert_eq!(rings(&more)[0].len(), nodes + 2);
        assert!((more.area() - path.area()).abs() < 1e-9);
        let square = BezPath::from_svg("M0 0H10V10H0Z").expect("a path");
        let more = one(&square, NodeWork::Insert, &[[0, 3]]);
        assert_eq!(rings(&more)[0][4].at, Point::new(0.0, 5.0));
        assert_eq!(one(&more, NodeWork::Remove, &[[0, 4]]).area(), 100.0);
        assert!(work_nodes(&square, NodeWork::Remove, &[[0, 0], [0, 1]], None).is_err(), "two nodes are no shape");
        assert!(work_nodes(&square, NodeWork::Insert, &[[1, 0]], None).is_err());
    }

    #[test]
    fn corners_and_smooth_nodes_are_made_of_each_other() {
        let square = BezPath::from_svg("M0 0H12V12H0Z").expect("a path");
        let smooth = one(&square, NodeWork::Smooth, &[[0, 1]]);
        let node = rings(&smooth)[0][1];
        let (before, behind) = (node.at - node.before.expect("a handle"), node.behind.expect("a handle") - node.at);
        assert!(before.cross(behind).abs() < 1e-9 && before.dot(behind) > 0.0 && (before.hypot() - 4.0).abs() < 1e-9);
        let corner = one(&smooth, NodeWork::Corner, &[[0, 1]]);
        assert!((rings(&corner)[0][1].before.expect("a handle") - Vec2::new(8.0, 0.0)).to_vec2().hypot() < 1e-9);
    }

    #[test]
    fn what_is_split_and_joined_again_is_whole() {
        let path = one(&circle(), NodeWork::Insert, &[[0, 0], [0, 1], [0, 2], [0, 3]]);
        let parts = work_nodes(&path, NodeWork::Split, &[[0, 1], [0, 5]], None).expect("two parts");
        let [first, second] = [&parts[0], &parts[1]];
        assert!((first.area() + second.area() - path.area()).abs() < 1e-9);
        for other in [second.clone(), second.reverse_subpaths()] {
            let whole = work_nodes(first, NodeWork::Join, &[], Some(&other)).expect("they meet").remove(0);
            assert!((whole.area() - path.area()).abs() < 1e-9, "{}", whole.area());
            assert_eq!(rings(&whole)[0].len(), rings(&path)[0].len());
        }
        // Nodes that crowd at the cut are not taken for it.
        let crowded = one(&path, NodeWork::Insert, &[[0, 1]; 1]);
        let crowded = (0..9).fold(crowded, |path, _| one(&path, NodeWork::Insert, &[[0, 1]]));
        let parts = work_nodes(&crowded, NodeWork::Split, &[[0, 1], [0, 15]], None).expect("two parts");
        let whole = work_nodes(&parts[0], NodeWork::Join, &[], Some(&parts[1])).expect("they meet").remove(0);
        assert!((whole.area() - path.area()).abs() < 1e-9 && rings(&whole)[0].len() == rings(&crowded)[0].len());
        assert!(work_nodes(&path, NodeWork::Split, &[[0, 1], [0, 2]], None).is_err());
        let apart = kurbo::Affine::translate((200.0, 0.0)) * second.clone();
        assert!(work_nodes(first, NodeWork::Join, &[], Some(&apart)).is_err());
    }

    #[test]
    fn a_mirrored_outline_stays_where_it_is() {
        let path = BezPath::from_svg("M0 0H10L4 8Z").expect("a path");
        let mirrored = one(&path, NodeWork::Mirror, &[]);
        assert_eq!(mirrored.bounding_box(), path.bounding_box());
        assert_eq!(rings(&mirrored)[0][2].at, Point::new(6.0, 8.0));
    }
}
