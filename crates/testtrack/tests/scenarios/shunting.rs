//! shunting
