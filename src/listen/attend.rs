//! The work that a session orders: everything that takes longer than a moment, so that it can be done on another thread.

use super::judge::judge;
use super::orders::{Answer, Order};
use super::room::room_report;

use crate::modes::{EstimateOptions, Estimator};
use crate::sound::{ChannelChoice, Recording, find_taps};

/// Does what an order asks for, if it is work on sound; `None` for orders that are none.
pub fn attend(order: &Order, channels: usize, rate_hz: u32, estimator: &mut Estimator) -> Option<Answer> {
    match order {
        Order::Room { sound } => {
            Some(Answer::Room(room_report(sound, channels, rate_hz, estimator).map_err(|e| e.to_string())))
        }
        Order::Judge { id, sound, strike } => {
            let verdict = judge(sound, channels, rate_hz, *strike, estimator).map_err(|e| e.to_string());
            Some(Answer::Judged { id: *id, verdict })
        }
        Order::Grown { growth, step, taps, sound } | Order::Weigh { growth, step, taps, sound } => {
            let estimate = Recording::from_interleaved(sound, channels, rate_hz, ChannelChoice::Better)
                .and_then(|mut recording| {
                    let found = find_taps(&mut recording)?;
                    estimator.estimate(&mut recording, &found, &EstimateOptions::default())
                })
                .map(Box::new)
                .map_err(|e| e.to_string());
            Some(Answer::Estimated { growth: *growth, step: *step, taps: *taps, estimate })
        }
        Order::Sound(_) => None,
    }
}
