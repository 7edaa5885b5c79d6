//! Linear mixed models on reduced blocks, by REML or ML.
//!
//! The model of one block (a subject, a wing) is
//! `y = X β + Z b + U t + ε`, with fixed effects β, *outer* effects `b` (few per block, any small covariance between the
//! effects of one term) and *inner* effects `t` (many per block, one per level, independent, of one variance), the
//! reading's own `ε ~ N(0, σ²)`. Blocks are independent.
//!
//! A block is reduced once to the cross products `G = WᵀW` of `W = [Z, X, y]` and, for each distinct number `n` of
//! readings on an inner level, `M_n = Σ s sᵀ` with `s` the sum of `W` over a level. With the relative standard deviation θ
//! of the inner effects, `G − Σ κ_n M_n`, `κ_n = θ²/(1 + nθ²)`, is what is left after eliminating them; the outer effects
//! follow by a small Cholesky step. So an evaluation of the deviance sees neither readings nor inner levels.
//! An inner level may be *unpenalised*, with a flat prior (`κ = 1/n`, log term `ln n`, one degree of freedom less): a free offset.
//!
//! Two parts are there only where a structure names them. A unit of inner levels may have a *slope* on a given variable: with
//! `S = Σ x²` and `V = Σ x W` after its level it takes `b²/(1 + b²S) V Vᵀ` more from the cross products, on the few columns that
//! are not zero in it. *Shared* effects belong to all blocks: they are columns beside the fixed ones, with an identity added to
//! their part of the summed Schur complement, each over its ratio.
//!
//! The criterion, with `R_w` the factor of block w, `R_X` of the fixed part and `r²` the residual sum:
//! `D(θ) = Σ_w [Σ_l ln(1 + n_l θ²) + 2 ln|R_w|] + 2 ln|R_X| + (N−p)(1 + ln(2π r²/(N−p)))` (REML; `N` counts unpenalised levels out).
//! Source of the criterion: Bates, Mächler, Bolker, Walker, J. Stat. Softw. 67(1), 2015 (from memory); the block reduction is
//! derived in `docs/method.md`.

mod block;
mod block_builder;
mod columns;
mod curvature;
mod fit;
mod gradient;
mod influence;
mod intervals;
mod model;
mod objective;
mod posterior;
mod recast;
mod relative_covariance;
mod satterthwaite;
mod search;
mod start;
mod structure;
mod trial;
mod validity;

pub use block::Block;
pub use block_builder::{BlockBuilder, InnerSlope, Readings};
pub use fit::{FixedEffect, MixedDiagnostic, MixedFit, MixedSpec, OuterSpread};
pub use influence::{BlockInfluence, Influence};
pub use intervals::{Parameter, ProfileInterval, ProfilePoint, Profiler};
pub use model::{
    BootstrapRow, CoefficientRow, DataTable, EffectRow, JointTest, MixedModelFit, MixedModelSpec, ModelBootstrap,
    ModelError, ModelRatio, PredictedRow,
};
pub use objective::{Objective, Profile};
pub use posterior::{BlockPosterior, Combination, InnerPosterior, LevelPrior};
pub(crate) use start::Start;
pub use structure::{Covariance, Criterion, MixedError, OuterTerm, SharedTerm, Structure};
