//! Every kind of junction that the documentation shows is loaded, and its routes and what excludes what are held against
//! expectations written by hand from the drawing of the junction.

#![cfg(test)]

mod routes;
mod shown;
