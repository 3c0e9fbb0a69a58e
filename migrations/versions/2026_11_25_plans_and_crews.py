"""Crews, their calendars and outages; plans by crew with a bound, pins, moves and deferrals; routes mended by hand."""

from alembic import op

revision = "2026_11_25_plans_and_crews"
down_revision = "2026_11_25_make_up_records"

SCHEMA = r"""
-- The zone in which the site's shifts and days are meant.
ALTER TABLE site ADD COLUMN time_zone text NOT NULL DEFAULT 'UTC' CONSTRAINT site_time_zone_form
    CHECK (time_zone ~ '^[A-Za-z0-9_+-]+(/[A-Za-z0-9_+-]+)*$');

-- ---------------------------------------------------------------- crews and outages (crews/)

-- `minutes_by_weekday`, Monday first, is time at the joints: walking and breaks are off it.
CREATE TABLE crew (
    site_id integer NOT NULL REFERENCES site,
    crew_id integer GENERATED ALWAYS AS IDENTITY,
    name text NOT NULL CONSTRAINT crew_name_given CHECK (name ~ '\S'),
    families text[] NOT NULL DEFAULT '{}',          -- codes of the families that it may check; none: all
    minutes_by_weekday double precision[] NOT NULL
        CONSTRAINT crew_seven_weekdays CHECK (cardinality(minutes_by_weekday) = 7)
        CONSTRAINT crew_minutes_of_a_day CHECK (0 <= ALL (minutes_by_weekday) AND 1440 >= ALL (minutes_by_weekday)),
    shift_starts_at time NOT NULL DEFAULT '07:00',
    from_on date,                                   -- NULL: always
    until_on date,
    calendar_secret text NOT NULL CONSTRAINT crew_calendar_secret_long CHECK (length(calendar_secret) >= 32),
    revision integer NOT NULL DEFAULT 1,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, crew_id),
    CONSTRAINT crew_days_in_order CHECK (from_on <= until_on)
);
CREATE UNIQUE INDEX crew_name_once ON crew (site_id, lower(name));

-- Days on which a crew is not there, both ends within.
CREATE TABLE crew_absence (
    site_id integer NOT NULL,
    crew_absence_id integer GENERATED ALWAYS AS IDENTITY,
    crew_id integer NOT NULL,
    from_on date NOT NULL,
    until_on date NOT NULL,
    reason text NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, crew_absence_id),
    CONSTRAINT crew_absence_days_in_order CHECK (from_on <= until_on),
    FOREIGN KEY (site_id, crew_id) REFERENCES crew ON DELETE CASCADE
);

-- A planned shutdown, both days within.
CREATE TABLE outage (
    site_id integer NOT NULL REFERENCES site,
    outage_id integer GENERATED ALWAYS AS IDENTITY,
    name text NOT NULL CONSTRAINT outage_name_given CHECK (name ~ '\S'),
    from_on date NOT NULL,
    until_on date NOT NULL,
    revision integer NOT NULL DEFAULT 1,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, outage_id),
    CONSTRAINT outage_days_in_order CHECK (from_on <= until_on),
    CONSTRAINT outage_once UNIQUE (site_id, name, from_on)
);

-- The areas that an outage shuts down; none: the whole site.
CREATE TABLE outage_area (
    site_id integer NOT NULL,
    outage_id integer NOT NULL,
    area_id integer NOT NULL,
    PRIMARY KEY (site_id, outage_id, area_id),
    FOREIGN KEY (site_id, outage_id) REFERENCES outage ON DELETE CASCADE,
    FOREIGN KEY (site_id, area_id) REFERENCES area
);

-- ---------------------------------------------------------------- plans (planning/)

-- A plan is made of scores and crews and can be made again; one without crews is worth nothing now.
DROP TABLE planned_check, plan_run;
CREATE TABLE plan_run (
    site_id integer NOT NULL REFERENCES site,
    plan_run_id integer GENERATED ALWAYS AS IDENTITY,
    score_run_id integer NOT NULL,
    starts_on date NOT NULL CONSTRAINT plan_run_starts_on_monday CHECK (extract(isodow FROM starts_on) = 1),
    weeks integer NOT NULL CONSTRAINT plan_run_weeks_positive CHECK (weeks > 0),
    recorded_at timestamptz NOT NULL DEFAULT now(),
    policy_version integer NOT NULL,
    frozen_weeks integer NOT NULL CONSTRAINT plan_run_frozen_not_negative CHECK (frozen_weeks >= 0),
    planned_weeks integer NOT NULL,      -- from the first week on, the frozen ones within
    late_minutes double precision NOT NULL,      -- what it costs, in crew minutes, by cause
    early_minutes double precision NOT NULL,
    visit_minutes double precision NOT NULL,
    moved_minutes double precision NOT NULL,
    unplaced_minutes double precision NOT NULL,
    bound_minutes double precision NOT NULL,     -- what no plan can cost less than
    solving_seconds double precision NOT NULL,
    made_by text NOT NULL,
    PRIMARY KEY (site_id, plan_run_id),
    FOREIGN KEY (site_id, score_run_id) REFERENCES score_run,
    FOREIGN KEY (site_id, policy_version) REFERENCES policy_version,
    CONSTRAINT plan_run_horizons_in_order CHECK (frozen_weeks <= planned_weeks AND planned_weeks <= weeks)
);

-- The hours that a plan counted on, crew by week, and what one crew-week more would have saved at most.
CREATE TABLE plan_capacity (
    site_id integer NOT NULL,
    plan_run_id integer NOT NULL,
    crew_id integer NOT NULL,
    week_starting_on date NOT NULL,
    minutes double precision NOT NULL,
    worth_minutes double precision NOT NULL,
    PRIMARY KEY (site_id, plan_run_id, crew_id, week_starting_on),
    FOREIGN KEY (site_id, plan_run_id) REFERENCES plan_run ON DELETE CASCADE,
    FOREIGN KEY (site_id, crew_id) REFERENCES crew
);

-- `occurrence` 0 is a joint's next check, 1 the one after it as far as the horizon goes, and so on. A week and crew of
-- NULL: not placed, for the reason (registry/planning/model.py).
CREATE TABLE planned_check (
    site_id integer NOT NULL,
    plan_run_id integer NOT NULL,
    joint_id integer NOT NULL,
    week_starting_on date,
    due_on date NOT NULL,
    minutes double precision NOT NULL,
    occurrence smallint NOT NULL,
    crew_id integer,
    area_id integer NOT NULL,            -- 0: none
    scaffold integer NOT NULL,           -- number of the scaffold in this plan; 0: none
    latest_on date NOT NULL,
    late_cost_per_week double precision NOT NULL,     -- in crew minutes
    early_cost_per_week double precision NOT NULL,
    unplaced_reason smallint,
    PRIMARY KEY (site_id, plan_run_id, joint_id, occurrence),
    FOREIGN KEY (site_id, plan_run_id) REFERENCES plan_run ON DELETE CASCADE,
    CONSTRAINT planned_check_placed_or_not CHECK
        ((week_starting_on IS NULL) = (crew_id IS NULL) AND (week_starting_on IS NULL) = (unplaced_reason IS NOT NULL))
);
CREATE INDEX planned_check_week ON planned_check (site_id, plan_run_id, week_starting_on, crew_id);

-- What differs from the plan before, or what a person moved since. A week of NULL: in no week.
CREATE TABLE plan_move (
    site_id integer NOT NULL,
    plan_move_id bigint GENERATED ALWAYS AS IDENTITY,
    plan_run_id integer NOT NULL,
    joint_id integer NOT NULL,
    occurrence smallint NOT NULL,
    from_week date,
    from_crew_id integer,
    to_week date,
    to_crew_id integer,
    reason smallint NOT NULL,                               -- registry/planning/model.py
    note text,                                              -- what the person said who moved it
    moved_by text,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, plan_move_id),
    FOREIGN KEY (site_id, plan_run_id) REFERENCES plan_run ON DELETE CASCADE
);
CREATE INDEX plan_move_run ON plan_move (site_id, plan_run_id, plan_move_id);

-- A next check that a person put into a week: later plans keep it there until it is done or let go.
CREATE TABLE plan_pin (
    site_id integer NOT NULL,
    joint_id integer NOT NULL,
    week_starting_on date NOT NULL CONSTRAINT plan_pin_on_monday CHECK (extract(isodow FROM week_starting_on) = 1),
    crew_id integer NOT NULL,
    reason text NOT NULL CONSTRAINT plan_pin_reason_given CHECK (reason ~ '\S'),
    pinned_by text NOT NULL CONSTRAINT plan_pin_by_given CHECK (pinned_by ~ '\S'),
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, joint_id),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint,
    FOREIGN KEY (site_id, crew_id) REFERENCES crew
);

-- A check allowed to be later than the policy allows: by whom, why, until when, and the risk that it adds. The due date
-- stays. Append-only; the newest of a joint counts until its day has passed or the joint was checked.
CREATE TABLE deferral (
    site_id integer NOT NULL,
    deferral_id integer GENERATED ALWAYS AS IDENTITY,
    joint_id integer NOT NULL,
    due_on date NOT NULL,
    until_on date NOT NULL,
    reason text NOT NULL CONSTRAINT deferral_reason_given CHECK (reason ~ '\S'),
    decided_by text NOT NULL CONSTRAINT deferral_by_given CHECK (decided_by ~ '\S'),
    risk_added double precision NOT NULL,                   -- weighted leaks expected of the delay
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, deferral_id),
    CONSTRAINT deferral_later_than_due CHECK (until_on > due_on),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint
);
CREATE INDEX deferral_joint ON deferral (site_id, joint_id, deferral_id DESC);
CREATE TRIGGER deferral_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON deferral
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();

-- A plan being made in the background. Who works on it holds an advisory lock; `running` without one was cut off.
CREATE TABLE plan_job (
    site_id integer NOT NULL REFERENCES site,
    plan_job_id integer GENERATED ALWAYS AS IDENTITY,
    request jsonb NOT NULL,
    state text NOT NULL DEFAULT 'queued' CONSTRAINT plan_job_state_known
        CHECK (state IN ('queued', 'running', 'done', 'failed', 'stopped')),
    stage text NOT NULL DEFAULT '',
    share_done double precision NOT NULL DEFAULT 0,
    stop_asked boolean NOT NULL DEFAULT false,
    plan_run_id integer,
    failure text,
    asked_by text NOT NULL,
    asked_at timestamptz NOT NULL DEFAULT now(),
    finished_at timestamptz,
    PRIMARY KEY (site_id, plan_job_id)
);

-- ---------------------------------------------------------------- routes (routes/)

ALTER TABLE route
    ADD COLUMN revision integer NOT NULL DEFAULT 1,
    ADD COLUMN tools text[],                                -- kinds of tool that the crew holds; NULL: whatever it takes
    ADD COLUMN best_walking_minutes double precision;       -- of the same stops in the best order found
ALTER TABLE route_stop ADD COLUMN pinned boolean NOT NULL DEFAULT false;

-- ---------------------------------------------------------------- who may do what

GRANT SELECT, INSERT ON plan_run, planned_check, crew, crew_absence, outage, outage_area, plan_capacity, plan_move, plan_pin, deferral, plan_job
    TO jointwright_app;
GRANT UPDATE ON plan_run, crew, outage, planned_check, plan_pin, plan_job, route, route_stop TO jointwright_app;
GRANT DELETE ON plan_run, planned_check, crew_absence, outage, outage_area, plan_pin, plan_move, plan_capacity, route_stop TO jointwright_app;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO jointwright_app;
"""

TABLES = (
    "plan_run",
    "planned_check",
    "crew",
    "crew_absence",
    "outage",
    "outage_area",
    "plan_capacity",
    "plan_move",
    "plan_pin",
    "deferral",
    "plan_job",
)


def upgrade() -> None:
    op.execute(SCHEMA)
    for table in TABLES:
        op.execute(f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY {table}_site ON {table} USING (site_id = (SELECT current_site()))")


PLANS_BEFORE = r"""
CREATE TABLE plan_run (
    site_id integer NOT NULL REFERENCES site,
    plan_run_id integer GENERATED ALWAYS AS IDENTITY,
    score_run_id integer NOT NULL,
    starts_on date NOT NULL CONSTRAINT plan_run_starts_on_monday CHECK (extract(isodow FROM starts_on) = 1),
    weeks integer NOT NULL CONSTRAINT plan_run_weeks_positive CHECK (weeks > 0),
    crew_hours_per_week double precision NOT NULL CONSTRAINT plan_run_hours_positive CHECK (crew_hours_per_week > 0),
    unplaced integer NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, plan_run_id),
    FOREIGN KEY (site_id, score_run_id) REFERENCES score_run
);

CREATE TABLE planned_check (
    site_id integer NOT NULL,
    plan_run_id integer NOT NULL,
    joint_id integer NOT NULL,
    week_starting_on date NOT NULL,
    due_on date NOT NULL,
    minutes double precision NOT NULL,
    PRIMARY KEY (site_id, plan_run_id, joint_id),
    FOREIGN KEY (site_id, plan_run_id) REFERENCES plan_run ON DELETE CASCADE
);
CREATE INDEX planned_check_week ON planned_check (site_id, plan_run_id, week_starting_on);
GRANT SELECT, INSERT, UPDATE, DELETE ON plan_run TO jointwright_app;
GRANT SELECT, INSERT, DELETE ON planned_check TO jointwright_app;
ALTER TABLE plan_run ENABLE ROW LEVEL SECURITY;
CREATE POLICY plan_run_site ON plan_run USING (site_id = (SELECT current_site()));
ALTER TABLE planned_check ENABLE ROW LEVEL SECURITY;
CREATE POLICY planned_check_site ON planned_check USING (site_id = (SELECT current_site()));
ALTER TABLE route_stop DROP COLUMN pinned;
ALTER TABLE route DROP COLUMN revision, DROP COLUMN tools, DROP COLUMN best_walking_minutes;
REVOKE UPDATE ON route, route_stop FROM jointwright_app;
REVOKE DELETE ON route_stop FROM jointwright_app;
ALTER TABLE site DROP COLUMN time_zone;
"""


def downgrade() -> None:
    op.execute(
        "DROP TABLE plan_job, deferral, plan_pin, plan_move, plan_capacity, outage_area, outage, crew_absence, planned_check,"
        " plan_run, crew"
    )
    op.execute(PLANS_BEFORE)
