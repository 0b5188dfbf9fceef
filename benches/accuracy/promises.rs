//! What was promised of accuracy and honesty, against what the families of takes gave.

use crate::{Pick, Tally, goals, rms};

/// What was promised, over all families that were run.
#[derive(Default)]
pub struct Promises {
    /// Worst errors over the bound, of frequency and damping: isolated modes, pairs; and bias over error of the isolated ones.
    isolated: f64,
    pairs: f64,
    bias: f64,
    /// Least and most share (%) of intervals that hold, and the families with it.
    held: Option<[(f64, String); 2]>,
    recall: Option<f64>,
    false_modes: usize,
    files: usize,
}

impl Promises {
    pub fn add(&mut self, family: &str, tally: &Tally) {
        let errors: [Pick; 2] = [|e| e.0, |e| e.1];
        for (pick, quantity) in errors.into_iter().zip(["f", "zeta"]) {
            let error = rms(tally.over_bound.iter().map(pick));
            if family.starts_with("isolated") {
                self.isolated = self.isolated.max(error);
                let mean = tally.over_bound.iter().map(pick).sum::<f64>() / tally.over_bound.len().max(1) as f64;
                self.bias = self.bias.max((mean / error).abs());
            } else if family.starts_with("close pair") {
                self.pairs = self.pairs.max(error);
            }
            let now = (tally.cover(pick), format!("{family}, {quantity}"));
            let [least, most] = self.held.get_or_insert_with(|| [now.clone(), now.clone()]);
            if now.0 < least.0 {
                *least = now;
            } else if now.0 > most.0 {
                *most = now;
            }
        }
        let recall = 100.0 * tally.standing_out_found as f64 / tally.standing_out.max(1) as f64;
        self.recall = Some(self.recall.map_or(recall, |least| least.min(recall)));
        self.false_modes += tally.false_modes;
        self.files += tally.files;
    }

    pub fn tell(&self) {
        let (Some([least, most]), Some(recall)) = (&self.held, self.recall) else { return };
        for (goal, error, limit) in
            [("isolated modes", self.isolated, 1.10), ("pairs a bandwidth or more apart", self.pairs, 1.25)]
        {
            let goal = format!("{goal}, error over the Cramer-Rao bound");
            goals::tell(&goal, &format!("{limit:.2}"), &format!("{error:.2} at most"), error <= limit);
        }
        goals::tell(
            "bias of isolated modes over that error",
            "0.1",
            &format!("{:.2} at most", self.bias),
            self.bias <= 0.1,
        );
        let told = format!("{:.1} % ({}) to {:.1} % ({})", least.0, least.1, most.0, most.1);
        goals::tell("95 % intervals hold, in every family", "93 to 97 %", &told, least.0 >= 93.0 && most.0 <= 97.0);
        goals::tell(
            "modes 20 dB over what surrounds them are found",
            "98 %",
            &format!("{recall:.1} % at least"),
            recall >= 98.0,
        );
        let told = format!("{} in {} files", self.false_modes, self.files);
        goals::tell("false modes", "1 in 50 files", &told, 50 * self.false_modes <= self.files);
    }
}
