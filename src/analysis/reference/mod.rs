//! A set of real parts that can be shared: what it needs, what it lacks, and what its bar of known modulus says.

mod bar;
mod needs;

pub use bar::{BarCheck, NoBarCheck, check_bar};
pub use needs::{Lack, OTHER_HAND, PARTS_WANTED, PartCount, ReferenceSet, reference_set};
