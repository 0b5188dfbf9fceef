//! The frame model of a rim against elastic bodies in finite elements (`fem/rims.py`, `fem/rims.csv`): no beam theory on their
//! side.
//!
//! What may differ is known beforehand: how far the frame moves from 200 to 400 elements, how far the finite elements move from
//! the coarser mesh to the finer, and what thin-beam theory leaves out.

use ringwright::rim::{Leaf, Outline, Plane, Rim, RimMode, RimPiece, Section, Sheet, Shell, Wall};

const YOUNG: f64 = 12e9;
const DENSITY: f64 = 600.0;
const THICK_M: f64 = 4e-3;
const DEEP_M: f64 = 0.1;
/// Shear modulus of the isotropic cases (Poisson's ratio 0.3) and of the wooden ones (Pa).
const EVEN: f64 = YOUNG / 2.6;
const WOOD: f64 = 0.9e9;
/// Thin-beam theory leaves out terms of the order of (thickness/radius)^2: half of 4 mm squared times the mean square curvature
/// of the outline, 71 per m2. The circle of 0.2 m has 25.
const THIN: f64 = 6e-4;
/// A strip bent along the grain wants to bend across too, the other way. How far its depth hinders it no beam knows: stiffness
/// rises by something between none and 1/(1 - nu_along nu_across) = 1.0103 (nu 0.35 and 0.35/12), tones by half of it.
const HINDERED: f64 = 5.2e-3;
/// Elements of the frame that is compared, and of the coarser one that tells its error.
const ELEMENTS: (usize, usize) = (400, 200);

/// One line of the table: what the finer mesh gives, and what the coarser one differs by (relative).
struct Solid {
    kind: String,
    value: f64,
    change: f64,
}

fn solids(case: &str, plane: &str) -> Vec<Solid> {
    let lines = include_str!("fem/rims.csv").lines().filter(|l| !l.starts_with('#') && !l.starts_with("case,"));
    let found: Vec<Solid> = lines
        .map(|line| (line, line.split(',').collect::<Vec<_>>()))
        .filter(|(_, cells)| cells[0] == case && cells[1] == plane)
        .map(|(line, cells)| {
            let number = |i: usize| cells[i].parse::<f64>().unwrap_or_else(|e| panic!("{line}: {e}"));
            Solid { kind: cells[2].to_owned(), value: number(4), change: number(5).abs() }
        })
        .collect();
    assert!(!found.is_empty(), "{case} {plane}");
    found
}

fn tones(case: &str, plane: &str) -> Vec<Solid> {
    let modes: Vec<Solid> = solids(case, plane).into_iter().filter(|s| s.kind == "mode").collect();
    assert!((4..=10).contains(&modes.len()), "{case} {plane}: {}", modes.len());
    modes
}

fn value(case: &str, kind: &str) -> Solid {
    solids(case, "in").into_iter().find(|s| s.kind == kind).unwrap_or_else(|| panic!("{case} {kind}"))
}

fn concert() -> Outline {
    Outline::named("concert").expect("a named outline")
}

fn strip(depth_m: f64, shear_pa: f64) -> Section {
    Section::strip(THICK_M, depth_m, YOUNG, shear_pa, DENSITY)
}

fn frequencies(rim: &Rim, plane: Plane) -> Vec<f64> {
    let modes = rim.modes(plane, 10).expect("it can be solved");
    assert_eq!(modes.len(), 10);
    modes.iter().map(|m| m.frequency_hz).collect()
}

/// Frequencies of the frame, and how far they move from the coarser one (relative).
fn frame(of: &dyn Fn(usize) -> Rim, plane: Plane) -> Vec<(f64, f64)> {
    let (fine, coarse) = (frequencies(&of(ELEMENTS.0), plane), frequencies(&of(ELEMENTS.1), plane));
    fine.iter().zip(coarse).map(|(f, c)| (*f, (c / f - 1.0).abs())).collect()
}

fn squeeze(rim: &Rim, ends: (f64, f64)) -> f64 {
    rim.squeeze(rim.node_at(ends.0), rim.node_at(ends.1), 1.0).expect("it can be solved")
}

/// Whether `solid` lies between two values, give or take.
fn between(what: &str, solid: f64, ends: (f64, f64), give: f64) {
    println!(
        "{what}: frame {:.6e} .. {:.6e}, solid {solid:.6e}, {:+.3} %",
        ends.0,
        ends.1,
        100.0 * (ends.0 / solid - 1.0)
    );
    let (low, high) = (ends.0.min(ends.1), ends.0.max(ends.1));
    assert!(
        low * (1.0 - give) < solid && solid < high * (1.0 + give),
        "{what}: {solid} is not in {low} .. {high} ± {give}"
    );
}

const PRESSED: [(&str, (f64, f64)); 2] = [("squeeze_0_0.5", (0.0, 0.5)), ("squeeze_0.2_0.8", (0.2, 0.8))];

/// An even side, in its plane: the modes, the mass, and how far it gives under two pairs of forces.
#[test]
fn a_plain_rim_in_its_plane() {
    let of = |elements: usize| Rim::closed(&concert(), elements, &strip(DEEP_M, EVEN), &[]);
    for (mode, (solid, (hz, change))) in tones("plain", "in").iter().zip(frame(&of, Plane::In)).enumerate() {
        between(&format!("plain {}", mode + 1), solid.value, (hz, hz), THIN + change + solid.change);
    }
    let (fine, coarse) = (of(ELEMENTS.0), of(ELEMENTS.1));
    // Chords are shorter than the curve.
    between("plain mass", value("plain", "mass_kg").value, (fine.mass_kg(), fine.mass_kg()), 2e-4);
    for (kind, ends) in PRESSED {
        let (solid, gives) = (value("plain", kind), squeeze(&fine, ends));
        let change = (squeeze(&coarse, ends) / gives - 1.0).abs();
        between(&format!("plain {kind}"), solid.value, (gives, gives), 2.0 * THIN + change + solid.change);
    }
}

/// The same of wood, as a body of three dimensions.
#[test]
fn a_rim_of_wood_in_its_plane() {
    let outlines = [("wood", concert()), ("ring", Outline::circle(0.2))];
    for (case, outline) in outlines {
        let of = |elements: usize| Rim::closed(&outline, elements, &strip(DEEP_M, WOOD), &[]);
        for (mode, (solid, (hz, change))) in tones(case, "in").iter().zip(frame(&of, Plane::In)).enumerate() {
            let give = THIN + change + solid.change;
            between(&format!("{case} in {}", mode + 1), solid.value, (hz, hz * (1.0 + HINDERED)), give);
        }
    }
}

/// A block at the tail, 20 mm thick: the frame takes it as stiff right up to its end. In a body stress must spread from the side
/// into the block, so the side bends on a little way into it: by nothing without a step, and into a wall without end by
/// 16.67/(12 pi) of its thickness (O'Donnell 1960, the turn of a cantilever's support; from memory). The body lies between the
/// frame and the frame with so much of the block's ends as limp as the side.
#[test]
fn a_rim_with_a_block_in_its_plane() {
    let outline = concert();
    let (side, block) = (strip(DEEP_M, EVEN), Section::strip(20e-3, DEEP_M, YOUNG, EVEN, DENSITY));
    let limp = Section { in_plane_n_m2: side.in_plane_n_m2, ..block };
    let into = 16.67 / (12.0 * std::f64::consts::PI) * THICK_M / outline.length_m();
    let piece = |half: f64, section| RimPiece { from: -half, to: half, section };
    let stiff = |elements: usize| Rim::closed(&outline, elements, &side, &[piece(0.02, block)]);
    // Elements of 0.2 mm, for 1.8 mm to be made of them.
    let soft = Rim::closed(&outline, 8000, &side, &[piece(0.02, limp), piece(0.02 - into, block)]);
    let softer = frequencies(&soft, Plane::In);
    for (mode, (solid, (hz, change))) in tones("blocked", "in").iter().zip(frame(&stiff, Plane::In)).enumerate() {
        let give = THIN + change + solid.change;
        between(&format!("blocked {}", mode + 1), solid.value, (hz, softer[mode]), give);
        // What is asked of the frame as it stands, whatever the reason.
        assert!((hz / solid.value - 1.0).abs() < 0.01, "{hz} {}", solid.value);
    }
    let (fine, coarse) = (stiff(ELEMENTS.0), stiff(ELEMENTS.1));
    between("blocked mass", value("blocked", "mass_kg").value, (fine.mass_kg(), fine.mass_kg()), 2e-4);
    for (kind, ends) in PRESSED {
        let (solid, gives) = (value("blocked", kind), squeeze(&fine, ends));
        let give = 2.0 * THIN + (squeeze(&coarse, ends) / gives - 1.0).abs() + solid.change;
        between(&format!("blocked {kind}"), solid.value, (gives, squeeze(&soft, ends)), give);
    }
}

/// Out of the plane, shallow and as deep as a guitar. A deep strip whose twist changes along it bends the more the farther from
/// mid-depth; that bending gives way in shear through the thickness, which the frame leaves out: by up to (k h)^2/12 E/(5/6 G) of the
/// stiffness for waves of k a metre (Timoshenko), tones by half of it. The body lies between.
#[test]
fn rims_out_of_their_plane() {
    let cases = [
        ("shallow", concert(), 20e-3, EVEN, 0.0),
        ("wood", concert(), DEEP_M, WOOD, HINDERED),
        ("ring", Outline::circle(0.2), DEEP_M, WOOD, HINDERED),
    ];
    for (case, outline, depth, shear, hindered) in cases {
        let of = |elements: usize| Rim::closed(&outline, elements, &strip(depth, shear), &[]);
        for (mode, (solid, (hz, change))) in tones(case, "out").iter().zip(frame(&of, Plane::Out)).enumerate() {
            // Modes come in pairs of about as many waves around.
            let k = std::f64::consts::TAU * (2 + mode / 2) as f64 / outline.length_m();
            let gives = 0.5 * (k * THICK_M).powi(2) / 12.0 * YOUNG / (shear * 5.0 / 6.0);
            let ends = (hz * (1.0 - gives), hz * (1.0 + hindered));
            between(&format!("{case} out {}", mode + 1), solid.value, ends, THIN + change + solid.change);
            assert!((hz / solid.value - 1.0).abs() < 0.012, "{case} {}: {hz} {}", mode + 1, solid.value);
        }
    }
}

/// What the wooden bodies have besides: the modulus across the depth, the shear moduli between thickness and length and between
/// thickness and depth (rolling shear, the soft one), Pa; Poisson's ratio of a pull along the grain.
const ACROSS: f64 = 1e9;
const THROUGH: f64 = 0.9e9;
const ROLLING: f64 = 0.1e9;
const POISSON: f64 = 0.35;

/// Stiffness of a sheet of this wood, free of stress through its thickness (Pa): 11, 12, 22, 66.
fn reduced() -> [f64; 4] {
    let bound = 1.0 - POISSON * POISSON * ACROSS / YOUNG;
    [YOUNG / bound, POISSON * ACROSS / bound, ACROSS / bound, WOOD]
}

fn sheet() -> Sheet {
    Sheet {
        bending: reduced().map(|q| q * THICK_M.powi(3) / 12.0),
        stretching: reduced().map(|q| q * THICK_M),
        mass_per_area_kg_m2: DENSITY * THICK_M,
    }
}

/// By which share of omega^2 a mode of held edges sinks if the sheet gives way in shear through its thickness, and its parts turn
/// as they move: to the first order, from the shape alone. Shear forces are the slopes of the sheet's moments,
/// across the rim M11,1 + 2 M12,2 and so on, and store force^2/(2 5/6 G h) (Reissner). What turns has h^3/12 of the density.
fn lowered(rim: &Rim, mode: &RimMode) -> f64 {
    let [d11, d12, d22, d66] = sheet().bending;
    let (k, count) = (std::f64::consts::PI / DEEP_M, rim.nodes().len());
    let bow = |i: usize| -rim.outward_shape(mode, i % count);
    let turn = |i: usize| mode.shape[i % count][2];
    let (mut stored, mut turning) = (0.0, 0.0);
    for i in count..2 * count {
        let (a, b) = (rim.nodes()[i % count], rim.nodes()[(i + 1) % count]);
        let step = (b.0 - a.0).hypot(b.1 - a.1);
        let bend = (turn(i + 1) - turn(i - 1)) / (2.0 * step);
        let bend_on = (turn(i + 1) - 2.0 * turn(i) + turn(i - 1)) / (step * step);
        // Along the rim, as sin over the depth, and across it, as cos.
        let along = d11 * bend_on - (d12 + 2.0 * d66) * k * k * turn(i);
        let across = k * ((d12 + 2.0 * d66) * bend - d22 * k * k * bow(i));
        stored += step * (along * along / THROUGH + across * across / ROLLING) / (5.0 / 6.0 * THICK_M);
        turning += step * DENSITY * THICK_M.powi(3) / 12.0 * (turn(i).powi(2) + (k * bow(i)).powi(2));
    }
    // Means of sin^2 and cos^2 over the depth; modal mass is one.
    let half = 0.5 * DEEP_M;
    half * stored / (std::f64::consts::TAU * mode.frequency_hz).powi(2) + half * turning
}

/// Both edges held by the plates: a sheet in strips against the body. Three things are known beforehand to keep them apart.
/// Shear through the thickness and rotary inertia, which the sheet leaves out, are estimated by `lowered`: omega^2 sinks by that
/// share d, or to 1/(1 + d) of itself if all of it is bending; the body lies about there. E/G is 13 along the grain, where waves
/// become shorter than the depth, and 10 in rolling shear across it, where (pi h/depth)^2/12 E/(5/6 G) is 1.6 %.
/// Theories of thin shells differ by terms of h/R: energy of stretching by bending over R, D e c/R, is at most
/// h/(sqrt(12) R) of the energy of both; tones by half of it. And both sides move a little with their meshes.
#[test]
fn a_rim_of_wood_with_its_edges_held() {
    // Root of the mean square curvature (1/m).
    let cases = [("held_wood", concert(), 71f64.sqrt()), ("held_ring", Outline::circle(0.2), 5.0)];
    for (case, outline, curvature) in cases {
        let section = Section { sheet: Some(sheet()), ..strip(DEEP_M, WOOD) };
        let of = |elements: usize| Rim::closed(&outline, elements, &section, &[]).held(DEEP_M);
        let rim = of(ELEMENTS.0);
        let modes = rim.modes(Plane::Held, 10).expect("it can be solved");
        let shell = 0.5 * THICK_M * curvature / 12f64.sqrt();
        let mut sheets: Vec<(f64, f64, f64)> = modes
            .iter()
            .zip(frame(&of, Plane::Held))
            .map(|(mode, (hz, change))| (hz, lowered(&rim, mode), change))
            .collect();
        // Shear may change the order of two that lie close: five and six waves around the ring, 0.1 % apart in the sheet.
        let sunk = |of: &(f64, f64, f64)| of.0 / (1.0 + of.1).sqrt();
        sheets.sort_by(|a, b| sunk(a).total_cmp(&sunk(b)));
        let all = tones(case, "held");
        assert_eq!(all.len(), sheets.len());
        for (number, (solid, of)) in all.iter().zip(&sheets).enumerate() {
            let (hz, sinks, change) = *of;
            let apart = 100.0 * (hz / solid.value - 1.0);
            let what = format!("{case} {}, sheet {hz:.2} Hz ({apart:+.2} %)", number + 1);
            between(&what, solid.value, (hz * (1.0 - 0.5 * sinks), sunk(of)), shell + change + solid.change);
        }
        let found = solids(case, "held").into_iter().find(|s| s.kind == "mass_kg").expect("a mass");
        between(&format!("{case} mass"), found.value, (rim.mass_kg(), rim.mass_kg()), 2e-4);
    }
}

/// The same wood as a shell: the program's own sides. It knows how the depth hinders bending across and that the edges are free; what
/// it leaves out is the shear of the twist and bending across the depth through the thickness, (k h)^2/12 E/(5/6 G) of the stiffness as above.
#[test]
fn walls_of_wood_as_shells() {
    let leaf = Leaf::wood(THICK_M, YOUNG, ACROSS, WOOD, POISSON, DENSITY);
    let section = strip(DEEP_M, WOOD).with_wall(&Wall::even(&Shell::side(&[leaf]), DEEP_M));
    for (case, outline) in [("wood", concert()), ("ring", Outline::circle(0.2))] {
        let of = |elements: usize| Rim::closed(&outline, elements, &section, &[]);
        for (plane, name) in [(Plane::In, "in"), (Plane::Out, "out")] {
            for (mode, (solid, (hz, change))) in tones(case, name).iter().zip(frame(&of, plane)).enumerate() {
                let k = std::f64::consts::TAU * (2 + mode / 2) as f64 / outline.length_m();
                let gives = if plane == Plane::In {
                    0.0
                } else {
                    0.5 * (k * THICK_M).powi(2) / 12.0 * YOUNG / (WOOD * 5.0 / 6.0)
                };
                let what = format!("{case} shell {name} {}", mode + 1);
                between(&what, solid.value, (hz * (1.0 - gives), hz), 2.0 * THIN + change + solid.change);
            }
        }
    }
}
