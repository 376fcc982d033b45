//! Who may have which track: exclusive sections, locked turnouts, release behind the tail.
