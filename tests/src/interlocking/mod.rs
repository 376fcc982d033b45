//! Routes and conflicts that others published, or that code of others reckons, against ours.
//!
//! The source is example 2 of M. N. Menendez, S. Germino, L. Diaz-Charris, A. Lutenberg, "Automatic Railway Signalling Generation
//! for Railways Systems Described on Railway Markup Language (railML)"; what of it is kept in `tests/data/published-network` is
//! described there.

mod foe_routes;
mod network;
