//! Registers of every version that was released can be read, and written on.

use std::sync::Arc;

use register::{FILE, Opened, Register, Settings};
use rusqlite::Connection;

use super::scene::layout;
use super::{ALL, folder, reader, record};

/// What the versions left behind, as SQL.
const RELEASED: [(i64, &str); 1] = [(1, include_str!("../fixtures/version-1.sql"))];

fn schema(db: &Connection) -> Vec<(String, String)> {
    let mut statement = db.prepare("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL ORDER BY name").unwrap();
    let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
    rows.collect::<Result<_, _>>().unwrap()
}

#[test]
fn trains_recorded_by_every_released_version_are_run_again_and_recorded_on() {
    let fresh = folder("fresh");
    record(&fresh, 1, 1);
    let newest = schema(&Connection::open(fresh.join(FILE)).unwrap());
    for (version, sql) in RELEASED {
        let folder = folder("released");
        let db = Connection::open(folder.join(FILE)).unwrap();
        db.execute_batch(sql).unwrap();
        assert_eq!(db.pragma_query_value(None, "user_version", |row| row.get(0)), Ok(version));
        drop(db);
        let Opened { register, before, told } = Register::open(&folder, Settings::default()).unwrap();
        assert!(told.is_empty(), "version {version}: {told:?}");
        register.close();
        let recovered = before.recover(&layout());
        assert_eq!(recovered.trains.len(), 2, "version {version}: {recovered:?}");
        assert!(!recovered.wishes.is_empty() && !recovered.lessons.is_empty(), "version {version}");
        let reader = reader(&folder);
        let shift = reader.shift(Some(1)).unwrap().unwrap();
        let steps = reader.steps(&shift, 1, 1_000).unwrap();
        assert_eq!(steps.len(), 120, "version {version}");
        // Whether the signaller of today does the same is another matter, and no fault of the register's.
        let replayed = reader.replay(&shift, &Arc::new(layout()), ALL, None).unwrap();
        assert_eq!(replayed.run, 120, "version {version}");
        record(&folder, 2, 50);
        assert_eq!(reader.shifts().unwrap().len(), 2, "version {version}");
        let db = Connection::open(folder.join(FILE)).unwrap();
        assert_eq!(schema(&db), newest, "version {version}: what was brought up to date is not what is made anew");
        std::fs::remove_dir_all(folder).unwrap();
    }
    std::fs::remove_dir_all(fresh).unwrap();
}
