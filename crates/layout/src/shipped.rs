//! The aspect books that come with the program.

/// The titles of all books that come with the program, in order.
pub fn shipped_books() -> impl Iterator<Item = &'static str> {
    SHIPPED.iter().map(|&(title, _)| title)
}

macro_rules! books {
    ($($title:literal),* $(,)?) => {
        /// Names and texts.
        pub(crate) const SHIPPED: &[(&str, &str)] =
            &[$(($title, include_str!(concat!("../aspects/", $title, ".toml")))),*];
    };
}

books![
    "two-aspect",
    "three-aspect",
    "us-block",
    "us-speed",
    "uk-three-aspect",
    "uk-four-aspect",
    "de-hp",
    "de-vr",
    "de-hp-vr",
    "de-sv",
    "de-ks",
];
