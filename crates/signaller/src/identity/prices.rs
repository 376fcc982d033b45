//! What an explanation costs.
//!
//! A price is how often something happens beside the ordinary course of things, per report that it would explain. Prices are
//! argued from how detectors and trains behave, not fitted to recordings; only their order of magnitude matters, and
//! whether they lie above or below [`Prices::sure`]: what is cheaper than that keeps a tag in doubt whenever it could also be
//! true, what is dearer is believed only when nothing else explains the evidence.

/// The prices of all explanations.
#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
pub struct Prices {
    /// A tag is sure when everything that disagrees weighs less than this together.
    pub sure: f64,
    /// A train of which nobody says how it is driven goes back the way it came, not at the end of its track. Trains reverse at
    /// places where they end their run, once in many hundred sections: rarer than `sure`, so it is believed only when the
    /// evidence asks for it.
    pub reverse: f64,
    /// The same in a section where a train has been known to: a place where runs end.
    pub reverse_where_others_did: f64,
    /// The same where the track ahead of it ends: it can do nothing else.
    pub reverse_at_the_end: f64,
    /// A train goes back the way it came that a person has taken over: they drive it to and fro as they like.
    pub reverse_in_hand: f64,
    /// A train passed a section and its filling was not heard: a message lost, dirt over a whole section. Some installations
    /// lose one report in a hundred; this must stay above `sure`, or one lost report puts a wrong name on a train.
    pub passed_unheard: f64,
    /// For each section in which a train lost from sight may meanwhile have moved on.
    pub moved_unseen: f64,
    /// The only section that shows a train empties though no section next to it fills: the report of the next one is
    /// late or lost, or the contact is. Half of `sure`: alone it is believed only where nothing else explains the evidence,
    /// and together with anything else that is unusual it is doubt.
    pub lost_from_sight: f64,
    /// The section at its nose empties while the ones behind stay filled, and the train did not back out: contact lost there.
    pub contact_at_nose: f64,
    /// A section in its middle empties: contact lost, or releases heard out of order, about as often as a report is lost.
    pub contact_in_middle: f64,
    /// ... or the sections behind are held falsely, or the report that they emptied was lost.
    pub stuck_behind: f64,
    /// Something unknown fills a section: moisture, a hand, a train nobody spoke of.
    pub stranger: f64,
    /// The same at the border of the layout, where things do come in.
    pub stranger_at_border: f64,
    /// A stranger vanishes inside the layout.
    pub stranger_vanishes: f64,
    /// What came to be in a section untold and never moved since, moves, where the signaller drives: most of that is moisture, a hand,
    /// or a wagon, and these stay.
    pub stranger_moves: f64,
    /// A section that is filled is reported filled again, later: a repeat.
    pub repeat: f64,
    /// ... or the report of its emptying between was lost.
    pub emptying_unheard: f64,
    /// A train lost from sight stays so, for each further instant in which something happens near it, the first few times: what
    /// was only late or out of order shows itself soon.
    pub stays_lost: f64,
    /// A train lost from sight for long has been taken off and nobody said so.
    pub taken_off_unheard: f64,
    /// A train is taken off while its sections stay filled.
    pub lifted_but_filled: f64,
    /// A move through a turnout that is known to lie the other way: a wrong report of its position.
    pub against_turnout: f64,
    /// The same, where the turnout reports nothing: it did not move when it was thrown.
    pub against_unreported: f64,
    /// A train that is driven runs into a section that it was not granted: it did not hear an order, or brakes badly.
    pub beyond_authority: f64,
    /// A report took some seconds: a train that has come to stand by now filled a section before it did.
    pub told_late: f64,
    /// A train moves that stands, or moves farther than it can have got, or backs though driven ahead: pushed by hand.
    pub by_hand: f64,
    /// One that was pushed into its section a moment ago goes on into the next.
    pub pushed_on: f64,
    /// A train goes the other way than it is driven: it was put down the other way round, or a motor is wired so.
    pub points_otherwise: f64,
    /// A reading where the account has somebody else: a reader that reaches to the next track. What is read is protected
    /// against being garbled.
    pub misread: f64,
    /// A passage of a spot where the account has nobody.
    pub passed_by_nobody: f64,
    /// Accounts that weigh less than this beside the likeliest are given up.
    pub given_up: f64,
}

impl Prices {
    /// The prices used unless somebody says otherwise. Common practice, no source.
    pub const DEFAULT: Self = Self {
        sure: 1e-3,
        reverse: 2e-4,
        reverse_where_others_did: 1e-2,
        reverse_at_the_end: 0.5,
        reverse_in_hand: 5e-3,
        passed_unheard: 3e-3,
        moved_unseen: 0.3,
        lost_from_sight: 5e-4,
        contact_at_nose: 1e-3,
        contact_in_middle: 3e-3,
        stuck_behind: 3e-3,
        stranger: 5e-5,
        stranger_at_border: 2e-4,
        stranger_vanishes: 0.9,
        stranger_moves: 1e-2,
        repeat: 1e-2,
        emptying_unheard: 1e-2,
        stays_lost: 0.5,
        taken_off_unheard: 1e-2,
        lifted_but_filled: 1e-3,
        against_turnout: 1e-4,
        against_unreported: 8e-4,
        beyond_authority: 3e-4,
        told_late: 1e-2,
        by_hand: 3e-5,
        pushed_on: 0.3,
        points_otherwise: 1e-4,
        misread: 2e-5,
        passed_by_nobody: 1e-3,
        given_up: 1e-4,
    };
}

/// A price, to be changed.
type Of = fn(&mut Prices) -> &mut f64;

impl Prices {
    /// What each price is asked for, in plain words.
    pub(super) const NAMED: &'static [(&'static str, Of)] = &[
        ("a train turns back in the middle of a run", |prices| &mut prices.reverse),
        ("a train turns back where others did", |prices| &mut prices.reverse_where_others_did),
        ("a train turns back at the end of its track", |prices| &mut prices.reverse_at_the_end),
        ("a train that a person drives turns back", |prices| &mut prices.reverse_in_hand),
        ("a train passes a section unheard", |prices| &mut prices.passed_unheard),
        ("a train that was lost from sight moves on unseen", |prices| &mut prices.moved_unseen),
        ("the only section that shows a train loses it", |prices| &mut prices.lost_from_sight),
        ("contact is lost at a train's nose", |prices| &mut prices.contact_at_nose),
        ("contact is lost in a train's middle", |prices| &mut prices.contact_in_middle),
        ("a section behind a train stays filled falsely", |prices| &mut prices.stuck_behind),
        ("something unknown fills a section", |prices| &mut prices.stranger),
        ("something unknown comes in at the border", |prices| &mut prices.stranger_at_border),
        ("something unknown vanishes", |prices| &mut prices.stranger_vanishes),
        ("something unknown that never moved moves", |prices| &mut prices.stranger_moves),
        ("a report is repeated", |prices| &mut prices.repeat),
        ("an emptying is not heard", |prices| &mut prices.emptying_unheard),
        ("a train that was lost from sight does not show itself", |prices| &mut prices.stays_lost),
        ("a train is taken off and nobody says so", |prices| &mut prices.taken_off_unheard),
        ("a train is taken off and its section stays filled", |prices| &mut prices.lifted_but_filled),
        ("a train runs against a turnout as it is reported", |prices| &mut prices.against_turnout),
        ("a turnout that reports nothing did not move when it was thrown", |prices| &mut prices.against_unreported),
        ("a train runs beyond its authority", |prices| &mut prices.beyond_authority),
        ("a report comes seconds late", |prices| &mut prices.told_late),
        ("a train moves otherwise than it is driven: by hand", |prices| &mut prices.by_hand),
        ("a train that was pushed goes on", |prices| &mut prices.pushed_on),
        ("a train points the other way than was thought", |prices| &mut prices.points_otherwise),
        ("a reader misreads", |prices| &mut prices.misread),
        ("a spot answers though nobody passes", |prices| &mut prices.passed_by_nobody),
    ];
}

impl Default for Prices {
    fn default() -> Self {
        Self::DEFAULT
    }
}
