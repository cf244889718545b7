//! The cheapest cut between object and ground: maximum flow over the pixels and their eight neighbours.
//!
//! Two trees grow from both ends until they meet; what breaks is mended rather than grown anew (Y. Boykov, V. Kolmogorov,
//! "An experimental comparison of min-cut/max-flow algorithms for energy minimization in vision", IEEE Transactions on
//! Pattern Analysis and Machine Intelligence 26, 2004).

use std::collections::VecDeque;

/// Steps to the eight neighbours; the one at `(d + 4) % 8` goes back.
pub(super) const STEPS: [(isize, isize); 8] = [(1, 0), (1, 1), (0, 1), (-1, 1), (-1, 0), (-1, -1), (0, -1), (1, -1)];

/// No neighbour in this direction.
pub(super) const NONE: u32 = u32::MAX;

const fn back(direction: usize) -> usize {
    (direction + 4) % 8
}

/// Where a node hangs in its tree.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Parent {
    /// In no tree.
    Free,
    /// On the end itself.
    End,
    /// On nothing any more.
    Lost,
    /// On its neighbour in this direction.
    Node(u8),
}

/// Pixels as nodes of a flow network.
pub(super) struct Network {
    /// Of each node, its neighbours in the order of [`STEPS`].
    neighbours: Vec<[u32; 8]>,
    /// What can still flow to each of them.
    rest: Vec<[i32; 8]>,
    /// What can still flow from the object's end (above 0) or to the ground's end (below 0).
    ends: Vec<i32>,
    parents: Vec<Parent>,
    of_object: Vec<bool>,
    /// When, and how many steps from the end, the node was last seen to hang together with it.
    seen: Vec<u32>,
    steps: Vec<u32>,
    now: u32,
    active: VecDeque<u32>,
    lost: VecDeque<u32>,
}

impl Network {
    /// `ends`: what it costs to make a pixel ground (above 0) or object (below 0). `costs`: what it costs to part a pixel
    /// from each neighbour, the same both ways. Any cost below 2^28.
    pub(super) fn new(neighbours: Vec<[u32; 8]>, costs: Vec<[i32; 8]>, ends: Vec<i32>) -> Self {
        let n = ends.len();
        Self {
            neighbours,
            rest: costs,
            ends,
            parents: vec![Parent::Free; n],
            of_object: vec![false; n],
            seen: vec![0; n],
            steps: vec![0; n],
            now: 0,
            active: VecDeque::new(),
            lost: VecDeque::new(),
        }
    }

    /// Which nodes are object in the cheapest cut. What could be either is ground.
    pub(super) fn cut(mut self) -> Vec<bool> {
        for i in 0..self.ends.len() {
            if self.ends[i] != 0 {
                self.of_object[i] = self.ends[i] > 0;
                (self.parents[i], self.steps[i]) = (Parent::End, 1);
                self.active.push_back(index(i));
            }
        }
        while let Some(&i) = self.active.front() {
            let i = i as usize;
            match (self.parents[i] != Parent::Free).then(|| self.grow(i)).flatten() {
                Some((from, direction)) => {
                    self.now += 1;
                    self.push(from, direction);
                    while let Some(i) = self.lost.pop_front() {
                        self.adopt(i as usize);
                    }
                }
                None => {
                    self.active.pop_front();
                }
            }
        }
        (0..self.ends.len()).map(|i| self.parents[i] != Parent::Free && self.of_object[i]).collect()
    }

    fn neighbour(&self, i: usize, direction: usize) -> Option<usize> {
        let j = self.neighbours[i][direction];
        (j != NONE).then_some(j as usize)
    }

    /// Whether something can flow between node `i` and its neighbour `j` away from the end of `i`'s tree.
    fn flows_out(&self, i: usize, j: usize, direction: usize) -> bool {
        if self.of_object[i] { self.rest[i][direction] > 0 } else { self.rest[j][back(direction)] > 0 }
    }

    /// Takes free neighbours into the tree; a node of the object's tree and the direction from it to one of the ground's,
    /// where the two trees meet.
    fn grow(&mut self, i: usize) -> Option<(usize, usize)> {
        for d in 0..8 {
            let Some(j) = self.neighbour(i, d) else { continue };
            if !self.flows_out(i, j, d) {
                continue;
            }
            if self.parents[j] == Parent::Free {
                self.of_object[j] = self.of_object[i];
                self.hang(j, back(d), i);
                self.active.push_back(index(j));
            } else if self.of_object[j] != self.of_object[i] {
                return Some(if self.of_object[i] { (i, d) } else { (j, back(d)) });
            } else if self.seen[j] <= self.seen[i] && self.steps[j] > self.steps[i] + 1 {
                self.hang(j, back(d), i);
            }
        }
        None
    }

    fn hang(&mut self, node: usize, direction: usize, on: usize) {
        self.parents[node] = Parent::Node(u8::try_from(direction).expect("one of eight"));
        (self.seen[node], self.steps[node]) = (self.seen[on], self.steps[on] + 1);
    }

    /// Pushes what the way over the meeting of the trees can take.
    fn push(&mut self, from: usize, direction: usize) {
        let to = self.neighbours[from][direction] as usize;
        let amount = self.rest[from][direction].min(self.room(from)).min(self.room(to));
        self.rest[from][direction] -= amount;
        self.rest[to][back(direction)] += amount;
        self.take(from, amount);
        self.take(to, amount);
    }

    /// What can flow between a node and the end of its tree.
    fn room(&self, mut i: usize) -> i32 {
        let mut least = i32::MAX;
        while let Parent::Node(d) = self.parents[i] {
            let d = usize::from(d);
            let j = self.neighbours[i][d] as usize;
            least = least.min(if self.of_object[i] { self.rest[j][back(d)] } else { self.rest[i][d] });
            i = j;
        }
        least.min(self.ends[i].abs())
    }

    fn take(&mut self, mut i: usize, amount: i32) {
        while let Parent::Node(d) = self.parents[i] {
            let d = usize::from(d);
            let j = self.neighbours[i][d] as usize;
            let (down, up) = if self.of_object[i] { ((j, back(d)), (i, d)) } else { ((i, d), (j, back(d))) };
            self.rest[down.0][down.1] -= amount;
            self.rest[up.0][up.1] += amount;
            if self.rest[down.0][down.1] == 0 {
                self.lose(i);
            }
            i = j;
        }
        self.ends[i] -= amount * self.ends[i].signum();
        if self.ends[i] == 0 {
            self.lose(i);
        }
    }

    fn lose(&mut self, i: usize) {
        self.parents[i] = Parent::Lost;
        self.lost.push_back(index(i));
    }

    /// Finds a lost node a new parent, the nearest to the end; else sets it free.
    fn adopt(&mut self, i: usize) {
        let mut best: Option<(u32, usize, usize)> = None;
        for d in 0..8 {
            let Some(j) = self.neighbour(i, d) else { continue };
            if self.parents[j] == Parent::Free
                || self.of_object[j] != self.of_object[i]
                || !self.flows_out(j, i, back(d))
            {
                continue;
            }
            if let Some(steps) = self.steps_from_end(j)
                && best.is_none_or(|(least, ..)| steps < least)
            {
                best = Some((steps, d, j));
            }
        }
        if let Some((steps, d, _)) = best {
            self.parents[i] = Parent::Node(u8::try_from(d).expect("one of eight"));
            (self.seen[i], self.steps[i]) = (self.now, steps + 1);
            return;
        }
        for d in 0..8 {
            let Some(j) = self.neighbour(i, d) else { continue };
            if self.parents[j] == Parent::Free || self.of_object[j] != self.of_object[i] {
                continue;
            }
            if self.flows_out(j, i, back(d)) {
                self.active.push_back(index(j));
            }
            if self.parents[j] == Parent::Node(u8::try_from(back(d)).expect("one of eight")) {
                self.lose(j);
            }
        }
        self.parents[i] = Parent::Free;
    }

    /// Steps from the node to the end of its tree; `None` if it hangs on a lost one. Remembers what it found.
    fn steps_from_end(&mut self, node: usize) -> Option<u32> {
        let (mut i, mut count) = (node, 0);
        let total = loop {
            if self.seen[i] == self.now && self.parents[i] != Parent::Lost {
                break count + self.steps[i];
            }
            match self.parents[i] {
                Parent::Node(d) => i = self.neighbours[i][usize::from(d)] as usize,
                Parent::End => {
                    (self.seen[i], self.steps[i]) = (self.now, 1);
                    break count + 1;
                }
                Parent::Free | Parent::Lost => return None,
            }
            count += 1;
        };
        let (mut i, mut steps) = (node, total);
        while self.seen[i] != self.now {
            (self.seen[i], self.steps[i]) = (self.now, steps);
            steps -= 1;
            let Parent::Node(d) = self.parents[i] else { break };
            i = self.neighbours[i][usize::from(d)] as usize;
        }
        Some(total)
    }
}

fn index(i: usize) -> u32 {
    u32::try_from(i).expect("fewer pixels than 2^32")
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A grid of 4 × 3 nodes with these costs to the right and down, and ends.
    fn grid(costs: &[i32], ends: &[i32]) -> (Vec<[u32; 8]>, Vec<[i32; 8]>) {
        let (w, h) = (4_isize, 3_isize);
        let mut neighbours = vec![[NONE; 8]; ends.len()];
        let mut rest = vec![[0; 8]; ends.len()];
        for i in 0..ends.len() {
            let (x, y) = (i as isize % w, i as isize / w);
            for (d, (dx, dy)) in STEPS.into_iter().enumerate() {
                let (p, q) = (x + dx, y + dy);
                if (0..w).contains(&p) && (0..h).contains(&q) {
                    let j = (q * w + p).unsigned_abs();
                    neighbours[i][d] = index(j);
                    rest[i][d] = costs[(i.min(j) * 7 + i.max(j) * 3 + d % 4) % costs.len()];
                }
            }
        }
        (neighbours, rest)
    }

    fn price(cut: &[bool], neighbours: &[[u32; 8]], rest: &[[i32; 8]], ends: &[i32]) -> i64 {
        (0..cut.len())
            .map(|i| {
                let end = if cut[i] { (-ends[i]).max(0) } else { ends[i].max(0) };
                let parted = (0..8).filter(|&d| neighbours[i][d] != NONE && cut[i] && !cut[neighbours[i][d] as usize]);
                i64::from(end) + parted.map(|d| i64::from(rest[i][d])).sum::<i64>()
            })
            .sum()
    }

    proptest! {
        #[test]
        fn no_other_cut_is_cheaper(
            costs in prop::collection::vec(0..20_i32, 40), ends in prop::collection::vec(-30..30_i32, 12)
        ) {
            let (neighbours, rest) = grid(&costs, &ends);
            let cut = Network::new(neighbours.clone(), rest.clone(), ends.clone()).cut();
            let least = (0..1 << 12_u32)
                .map(|bits| (0..12).map(|i| bits >> i & 1 == 1).collect::<Vec<_>>())
                .map(|all| price(&all, &neighbours, &rest, &ends))
                .min();
            prop_assert_eq!(Some(price(&cut, &neighbours, &rest, &ends)), least);
        }
    }
}
