//! How well a part comes back when it is put down and held anew for the next take.

/// Standard uncertainty of a frequency and of a damping ratio (both relative) between takes for which the part was lifted off and hung or
/// laid down again, as it is between stages; the same for all modes of a take: one source of uncertainty, not one for each mode.
///
/// By judgement, no source: no series of a maker's takes with the part hung again is published that we know of. What moves a
/// frequency then are the supports (a soft one at 8 Hz under a mode at 80 Hz raises it by (8/80)^2/2 = 0.5 % of what the mode moves
/// there, so 0.05 % a little off a node) and warm or breathed-on wood (0.1 % of moisture is about 0.1 % of frequency): 0.1 %
/// together. (Real plates tapped five times without being touched scatter by 0.3 to 2 parts in ten thousand: open data of Badiane et al.,
/// J. Acoust. Soc. Am. 154 (2023) 730.) What moves a damping is what the supports and hands take: 3 %. Both only begin the estimate: they count as six
/// takes, and the shop's own takes move it (`compare::Repeatability`).
pub const HUNG_AGAIN_FREQUENCY: f64 = 1e-3;
pub const HUNG_AGAIN_DAMPING: f64 = 0.03;
/// Degrees of freedom with which both are known (by judgement: about as much as six takes say).
pub const HUNG_AGAIN_DOF: f64 = 6.0;
