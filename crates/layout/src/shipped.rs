//! The aspect books that come with the program.

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
