-- The whole schema as it stands after the newest migration, to be read.
-- A test migrates an empty database and loads this file into another, and compares the two catalogues.
-- Site stands first in every key. Times are timestamptz, dates are dates, lengths are metres on the plant grid.

-- ---------------------------------------------------------------- sites and the plot plan (plant/)

CREATE TABLE site (
    site_id integer GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
    code text NOT NULL CONSTRAINT site_code_unique UNIQUE
        CONSTRAINT site_code_form CHECK (code ~ '^[a-z0-9]+(-[a-z0-9]+)*$'),
    name text NOT NULL,
    epsg integer,
    grid_to_epsg double precision[]      -- a, b, d, e, x0, y0 of the affine map from plant grid to the EPSG system
        CONSTRAINT site_grid_to_epsg_six CHECK (cardinality(grid_to_epsg) = 6),
    recorded_at timestamptz NOT NULL DEFAULT now(),
    -- The zone in which the site's shifts and days are meant.
    time_zone text NOT NULL DEFAULT 'UTC' CONSTRAINT site_time_zone_form
        CHECK (time_zone ~ '^[A-Za-z0-9_+-]+(/[A-Za-z0-9_+-]+)*$')
);

CREATE TABLE intake (
    site_id integer NOT NULL REFERENCES site,
    intake_id integer GENERATED ALWAYS AS IDENTITY,
    kind text NOT NULL CONSTRAINT intake_kind_known
        CHECK (kind IN ('plot_plan', 'joints', 'vibration', 'temperatures', 'checks', 'leaks', 'make_ups', 'demo', 'people',
                        'tools', 'calibrations')),
    source_name text NOT NULL,
    content_sha256 bytea NOT NULL,
    rows_read integer NOT NULL,
    rows_loaded integer NOT NULL,
    rows_refused integer NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, intake_id)
);

CREATE TABLE area (
    site_id integer NOT NULL REFERENCES site,
    area_id integer GENERATED ALWAYS AS IDENTITY,
    name text NOT NULL,
    occupancy text NOT NULL DEFAULT 'occasional' CONSTRAINT area_occupancy_known
        CHECK (occupancy IN ('rare', 'occasional', 'frequent', 'continuous')),
    PRIMARY KEY (site_id, area_id),
    CONSTRAINT area_name_unique UNIQUE (site_id, name)
);

-- The features of the plot plan as last loaded; a new plan replaces them all in one transaction.
CREATE TABLE plan_feature (
    site_id integer NOT NULL REFERENCES site,
    plan_feature_id integer GENERATED ALWAYS AS IDENTITY,
    intake_id integer NOT NULL,
    kind text NOT NULL CONSTRAINT plan_feature_kind_known
        CHECK (kind IN ('area', 'equipment', 'walkway', 'stair', 'obstacle', 'vibration_source', 'gate')),
    name text,
    area_id integer,                     -- for kind 'area'
    properties jsonb NOT NULL DEFAULT '{}',
    geometry jsonb NOT NULL,             -- GeoJSON geometry in plant-grid metres; a third coordinate is elevation
    PRIMARY KEY (site_id, plan_feature_id),
    FOREIGN KEY (site_id, intake_id) REFERENCES intake,
    FOREIGN KEY (site_id, area_id) REFERENCES area
);

-- ---------------------------------------------------------------- policy (policy/)

CREATE TABLE policy_version (
    site_id integer NOT NULL REFERENCES site,
    policy_version integer NOT NULL,
    document jsonb NOT NULL,
    published_by text NOT NULL,
    note text NOT NULL,
    published_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, policy_version)
);

CREATE TABLE policy_draft (
    site_id integer NOT NULL REFERENCES site PRIMARY KEY,
    based_on integer NOT NULL,
    document jsonb NOT NULL,
    revision integer NOT NULL DEFAULT 1,
    edited_at timestamptz NOT NULL DEFAULT now(),
    FOREIGN KEY (site_id, based_on) REFERENCES policy_version
);

-- ---------------------------------------------------------------- the register (joints/)

CREATE TABLE family (
    site_id integer NOT NULL REFERENCES site,
    family_id smallint NOT NULL,
    code text NOT NULL,
    PRIMARY KEY (site_id, family_id),
    CONSTRAINT family_code_unique UNIQUE (site_id, code)
);

CREATE TABLE service (
    site_id integer NOT NULL REFERENCES site,
    service_id smallint NOT NULL,
    name text NOT NULL,
    PRIMARY KEY (site_id, service_id),
    CONSTRAINT service_name_unique UNIQUE (site_id, name)
);

CREATE TABLE line (
    site_id integer NOT NULL REFERENCES site,
    line_id integer GENERATED ALWAYS AS IDENTITY,
    code text NOT NULL,
    PRIMARY KEY (site_id, line_id),
    CONSTRAINT line_code_unique UNIQUE (site_id, code)
);

-- A joint as the joint list last gave it. NULL means 'not given': the score takes the policy's assumption and says so.
-- Its family, service, line, area and intake come from a join at intake and nobody may delete those rows, so five
-- foreign keys a row would cost a bulk load more than the load itself and guard nothing. Tables that refer to a joint or an
-- intake are tied to the site through it.
CREATE TABLE joint (
    site_id integer NOT NULL,
    joint_id integer GENERATED ALWAYS AS IDENTITY,
    tag text NOT NULL,
    family_id smallint NOT NULL,
    service_id smallint NOT NULL,
    line_id integer,
    area_id integer,
    size_mm double precision CONSTRAINT joint_size_positive CHECK (size_mm > 0),
    location point NOT NULL,             -- (east_m, north_m)
    elevation_m double precision,
    pressure_barg double precision NOT NULL CONSTRAINT joint_pressure_above_vacuum CHECK (pressure_barg >= -1.01325),
    temperature_degc double precision CONSTRAINT joint_temperature_above_zero CHECK (temperature_degc >= -273.15),
    fitter text,
    made_up_on date,
    make_up_method text CONSTRAINT joint_make_up_method_known CHECK (make_up_method IN ('turns', 'torque', 'tension')),
    vibration_mm_s double precision CONSTRAINT joint_vibration_not_negative CHECK (vibration_mm_s >= 0),
    vibration_hz double precision CONSTRAINT joint_frequency_positive CHECK (vibration_hz > 0),
    thermal_cycles_per_year double precision CONSTRAINT joint_cycles_not_negative CHECK (thermal_cycles_per_year >= 0),
    thermal_range_degc double precision CONSTRAINT joint_thermal_range_not_negative CHECK (thermal_range_degc >= 0),
    access text CONSTRAINT joint_access_known CHECK (access IN ('grade', 'platform', 'ladder', 'scaffold')),
    requires_outage boolean,
    notes text,
    intake_id integer NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, joint_id),
    CONSTRAINT joint_tag_unique UNIQUE (site_id, tag)
);
CREATE INDEX joint_line ON joint (site_id, line_id);

-- What a later joint list changed: {"column": [old, new], ...}
CREATE TABLE joint_change (
    site_id integer NOT NULL,
    joint_change_id bigint GENERATED ALWAYS AS IDENTITY,
    joint_id integer NOT NULL,
    intake_id integer NOT NULL,
    changes jsonb NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, joint_change_id),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint,
    FOREIGN KEY (site_id, intake_id) REFERENCES intake
);
CREATE INDEX joint_change_joint ON joint_change (site_id, joint_id);

-- ---------------------------------------------------------------- exposure (exposure/)

CREATE TABLE vibration_reading (
    site_id integer NOT NULL,
    vibration_reading_id bigint GENERATED ALWAYS AS IDENTITY,
    joint_id integer,
    line_id integer,                     -- a reading on a line stands at a place; one on a joint stands at the joint
    location point,
    velocity_mm_s double precision NOT NULL CONSTRAINT vibration_reading_not_negative CHECK (velocity_mm_s >= 0),
    frequency_hz double precision CONSTRAINT vibration_reading_frequency_positive CHECK (frequency_hz > 0),
    observed_at timestamptz NOT NULL,
    intake_id integer NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, vibration_reading_id),
    CONSTRAINT vibration_reading_subject CHECK
        ((joint_id IS NOT NULL) OR (line_id IS NOT NULL AND location IS NOT NULL)),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint,
    FOREIGN KEY (site_id, line_id) REFERENCES line,
    FOREIGN KEY (site_id, intake_id) REFERENCES intake
);
-- A walk along one line takes many readings under one date: the place is part of what makes a reading the same one.
CREATE UNIQUE INDEX vibration_reading_once ON vibration_reading
    (site_id, joint_id, line_id, observed_at, frequency_hz, (location[0]), (location[1])) NULLS NOT DISTINCT;

-- One history is one subject's series in one file, with its rainflow count (ASTM E1049) beside it.
CREATE TABLE temperature_history (
    site_id integer NOT NULL,
    temperature_history_id integer GENERATED ALWAYS AS IDENTITY,
    joint_id integer,
    line_id integer,
    observed_at timestamptz[] NOT NULL,
    temperature_degc double precision[] NOT NULL,
    began_at timestamptz NOT NULL,
    ended_at timestamptz NOT NULL,
    cycle_range_degc double precision[] NOT NULL,
    cycle_count double precision[] NOT NULL,
    intake_id integer NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, temperature_history_id),
    CONSTRAINT temperature_history_subject CHECK (num_nonnulls(joint_id, line_id) = 1),
    CONSTRAINT temperature_history_spans_time CHECK (ended_at > began_at),
    CONSTRAINT temperature_history_once UNIQUE NULLS NOT DISTINCT (site_id, joint_id, line_id, began_at, ended_at),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint,
    FOREIGN KEY (site_id, line_id) REFERENCES line,
    FOREIGN KEY (site_id, intake_id) REFERENCES intake
);

-- ---------------------------------------------------------------- people, tools and procedures (makeup/)

-- A procedure as published; a make-up names the version by which it was judged. Version 1 of the shipped ones comes with
-- the site.
CREATE TABLE procedure_version (
    site_id integer NOT NULL REFERENCES site,
    code text NOT NULL CONSTRAINT procedure_version_code_form CHECK (code ~ '^[a-z0-9]+([-_][a-z0-9]+)*$'),
    version integer NOT NULL CONSTRAINT procedure_version_positive CHECK (version > 0),
    document jsonb NOT NULL,
    published_by text NOT NULL,
    note text NOT NULL,
    published_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, code, version)
);

CREATE TABLE person (
    site_id integer NOT NULL REFERENCES site,
    person_id integer GENERATED ALWAYS AS IDENTITY,
    name text NOT NULL CONSTRAINT person_name_given CHECK (name ~ '\S'),
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, person_id)
);
-- The same name in other letters is the same person.
CREATE UNIQUE INDEX person_name_once ON person (site_id, lower(name));

-- What somebody may make up, and for how long. NULL of a limit is no limit; the last size and the last day count in.
CREATE TABLE qualification (
    site_id integer NOT NULL,
    qualification_id integer GENERATED ALWAYS AS IDENTITY,
    person_id integer NOT NULL,
    family_id smallint,
    size_from_mm double precision,
    size_to_mm double precision,
    valid_from_on date NOT NULL,
    valid_until_on date,
    certificate text,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, qualification_id),
    CONSTRAINT qualification_sizes_in_order CHECK (size_from_mm <= size_to_mm),
    CONSTRAINT qualification_days_in_order CHECK (valid_from_on <= valid_until_on),
    CONSTRAINT qualification_once UNIQUE NULLS NOT DISTINCT
        (site_id, person_id, family_id, size_from_mm, size_to_mm, valid_from_on),
    FOREIGN KEY (site_id, person_id) REFERENCES person,
    FOREIGN KEY (site_id, family_id) REFERENCES family
);
CREATE INDEX qualification_ends ON qualification (site_id, valid_until_on);

CREATE TABLE tool (
    site_id integer NOT NULL REFERENCES site,
    tool_id integer GENERATED ALWAYS AS IDENTITY,
    serial text NOT NULL CONSTRAINT tool_serial_given CHECK (serial ~ '\S'),
    kind text NOT NULL CONSTRAINT tool_kind_known
        CHECK (kind IN ('torque_wrench', 'tensioner', 'gap_gauge', 'pre_swage', 'other')),
    description text,
    low_n_m double precision,            -- what it may be set to, where it is set
    high_n_m double precision,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, tool_id),
    CONSTRAINT tool_range_in_order CHECK (low_n_m < high_n_m)
);
CREATE UNIQUE INDEX tool_serial_once ON tool (site_id, lower(serial));

-- A calibration says how the tool came in, before anybody adjusted it, and until when it holds.
CREATE TABLE calibration (
    site_id integer NOT NULL,
    calibration_id integer GENERATED ALWAYS AS IDENTITY,
    tool_id integer NOT NULL,
    calibrated_on date NOT NULL,
    valid_until_on date NOT NULL,
    as_found text NOT NULL CONSTRAINT calibration_as_found_known
        CHECK (as_found IN ('in tolerance', 'out of tolerance')),
    certificate text,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, calibration_id),
    CONSTRAINT calibration_days_in_order CHECK (calibrated_on <= valid_until_on),
    CONSTRAINT calibration_once UNIQUE (site_id, tool_id, calibrated_on),
    FOREIGN KEY (site_id, tool_id) REFERENCES tool
);
CREATE INDEX calibration_ends ON calibration (site_id, valid_until_on);

-- ---------------------------------------------------------------- ledgers: make-ups, checks, leaks
-- Append-only. Each row carries the hash of the row before it in its site and ledger, and its own; a correction
-- is a new row that names the row it supersedes and says why.

CREATE TABLE make_up (
    site_id integer NOT NULL,
    make_up_id bigint GENERATED ALWAYS AS IDENTITY,
    joint_id integer NOT NULL,
    made_up_on date NOT NULL,
    fitter text,
    witness text,
    method text CONSTRAINT make_up_method_known CHECK (method IN ('turns', 'torque', 'tension')),
    verdict text NOT NULL CONSTRAINT make_up_verdict_known CHECK (verdict IN ('accepted', 'not accepted')),
    notes text,
    client_uuid uuid,
    supersedes bigint,
    reason text,
    intake_id integer,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    previous_hash bytea NOT NULL,
    hash bytea NOT NULL,
    -- What a record from before these columns did not hold stays NULL, so that its hash stands.
    kind text CONSTRAINT make_up_kind_known CHECK (kind IN ('first', 're-make')),
    procedure_code text,
    procedure_version integer,
    torque_n_m double precision CONSTRAINT make_up_torque_positive CHECK (torque_n_m > 0),
    turns double precision CONSTRAINT make_up_turns_not_negative CHECK (turns >= 0),
    answers jsonb,                       -- by the key of the step: yes or no, a reading, a serial, a lot
    reasons jsonb,                       -- [{"kind", "code", "text"}, ...]; NULL where no rule was ever held against it
    judged text CONSTRAINT make_up_judged_known CHECK (judged IN ('at make-up', 'in retrospect')),
    photos text[],                       -- where they are kept
    PRIMARY KEY (site_id, make_up_id),
    CONSTRAINT make_up_once UNIQUE (site_id, client_uuid),
    CONSTRAINT make_up_superseded_once UNIQUE (site_id, supersedes),
    CONSTRAINT make_up_correction_says_why CHECK (supersedes IS NULL OR reason IS NOT NULL),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint,
    FOREIGN KEY (site_id, supersedes) REFERENCES make_up,
    FOREIGN KEY (site_id, intake_id) REFERENCES intake,
    CONSTRAINT make_up_procedure_exists
        FOREIGN KEY (site_id, procedure_code, procedure_version) REFERENCES procedure_version
);
CREATE INDEX make_up_joint ON make_up (site_id, joint_id, made_up_on);
CREATE INDEX make_up_fitter ON make_up (site_id, fitter);
CREATE INDEX make_up_procedure ON make_up (site_id, procedure_code, procedure_version);

-- The tools and the lots of a make-up, as far as the register knows the tool, so that they can be recalled.
CREATE TABLE make_up_tool (
    site_id integer NOT NULL,
    make_up_id bigint NOT NULL,
    tool_id integer NOT NULL,
    PRIMARY KEY (site_id, make_up_id, tool_id),
    FOREIGN KEY (site_id, make_up_id) REFERENCES make_up,
    FOREIGN KEY (site_id, tool_id) REFERENCES tool
);
CREATE INDEX make_up_tool_tool ON make_up_tool (site_id, tool_id, make_up_id);

CREATE TABLE make_up_lot (
    site_id integer NOT NULL,
    make_up_id bigint NOT NULL,
    kind text NOT NULL CONSTRAINT make_up_lot_kind_known
        CHECK (kind IN ('gasket', 'ferrule_set', 'tube', 'seal_ring', 'bolt_set')),
    lot text NOT NULL CONSTRAINT make_up_lot_given CHECK (lot ~ '\S'),
    PRIMARY KEY (site_id, make_up_id, kind, lot),
    FOREIGN KEY (site_id, make_up_id) REFERENCES make_up
);
CREATE INDEX make_up_lot_lot ON make_up_lot (site_id, kind, lot);

CREATE TABLE check_result (
    site_id integer NOT NULL,
    check_result_id bigint GENERATED ALWAYS AS IDENTITY,
    joint_id integer NOT NULL,
    observed_at timestamptz NOT NULL,
    result text NOT NULL CONSTRAINT check_result_known
        CHECK (result IN ('tight', 'retightened', 'weeping', 'leaking', 'not_reached')),
    screening_ppmv double precision CONSTRAINT check_result_screening_not_negative CHECK (screening_ppmv >= 0),
    checked_by text,
    notes text,
    route_id integer,
    client_uuid uuid,
    supersedes bigint,
    reason text,
    intake_id integer,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    previous_hash bytea NOT NULL,
    hash bytea NOT NULL,
    PRIMARY KEY (site_id, check_result_id),
    CONSTRAINT check_result_once UNIQUE (site_id, client_uuid),
    CONSTRAINT check_result_superseded_once UNIQUE (site_id, supersedes),
    CONSTRAINT check_result_correction_says_why CHECK (supersedes IS NULL OR reason IS NOT NULL),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint,
    FOREIGN KEY (site_id, supersedes) REFERENCES check_result,
    FOREIGN KEY (site_id, intake_id) REFERENCES intake
);
CREATE INDEX check_result_joint ON check_result (site_id, joint_id, observed_at);
CREATE INDEX check_result_route ON check_result (site_id, route_id) WHERE route_id IS NOT NULL;

CREATE TABLE leak (
    site_id integer NOT NULL,
    leak_id bigint GENERATED ALWAYS AS IDENTITY,
    joint_id integer NOT NULL,
    observed_at timestamptz NOT NULL,
    severity text NOT NULL CONSTRAINT leak_severity_known CHECK (severity IN ('weep', 'drip', 'spray')),
    found_by text,
    found_during text NOT NULL CONSTRAINT leak_found_during_known CHECK (found_during IN ('check', 'operation')),
    screening_ppmv double precision CONSTRAINT leak_screening_not_negative CHECK (screening_ppmv >= 0),
    notes text,
    client_uuid uuid,
    supersedes bigint,
    reason text,
    intake_id integer,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    previous_hash bytea NOT NULL,
    hash bytea NOT NULL,
    PRIMARY KEY (site_id, leak_id),
    CONSTRAINT leak_once UNIQUE (site_id, client_uuid),
    CONSTRAINT leak_superseded_once UNIQUE (site_id, supersedes),
    CONSTRAINT leak_correction_says_why CHECK (supersedes IS NULL OR reason IS NOT NULL),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint,
    FOREIGN KEY (site_id, supersedes) REFERENCES leak,
    FOREIGN KEY (site_id, intake_id) REFERENCES intake
);
CREATE INDEX leak_joint ON leak (site_id, joint_id, observed_at);
CREATE INDEX leak_observed ON leak (site_id, observed_at);

-- What was done about a leak; 'repaired' closes it.
CREATE TABLE leak_step (
    site_id integer NOT NULL,
    leak_step_id bigint GENERATED ALWAYS AS IDENTITY,
    leak_id bigint NOT NULL,
    step text NOT NULL CONSTRAINT leak_step_known CHECK (step IN ('first_attempt', 'repaired')),
    observed_at timestamptz NOT NULL,
    done_by text,
    notes text,
    client_uuid uuid,
    intake_id integer,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    previous_hash bytea NOT NULL,
    hash bytea NOT NULL,
    PRIMARY KEY (site_id, leak_step_id),
    CONSTRAINT leak_step_once UNIQUE (site_id, client_uuid),
    FOREIGN KEY (site_id, leak_id) REFERENCES leak,
    FOREIGN KEY (site_id, intake_id) REFERENCES intake
);
CREATE INDEX leak_step_leak ON leak_step (site_id, leak_id);

-- The newest facts of each joint, kept by triggers on the ledgers, so that a whole-plant score need not sort them.
CREATE TABLE joint_last_make_up (
    site_id integer NOT NULL,
    joint_id integer NOT NULL,
    make_up_id bigint NOT NULL,
    made_up_on date NOT NULL,
    accepted boolean NOT NULL,
    witnessed boolean NOT NULL,
    PRIMARY KEY (site_id, joint_id)
);

CREATE TABLE joint_last_check (
    site_id integer NOT NULL,
    joint_id integer NOT NULL,
    satisfactory_at timestamptz,         -- newest 'tight' or 'retightened'
    checked_at timestamptz NOT NULL,     -- newest of any result but 'not_reached'
    result text NOT NULL,
    PRIMARY KEY (site_id, joint_id)
);

CREATE TABLE joint_last_vibration (
    site_id integer NOT NULL,
    joint_id integer NOT NULL,
    velocity_mm_s double precision NOT NULL,
    frequency_hz double precision,
    observed_at timestamptz NOT NULL,
    PRIMARY KEY (site_id, joint_id)
);

-- ---------------------------------------------------------------- scores (risk/, intervals/)

CREATE TABLE interval_override (
    site_id integer NOT NULL,
    interval_override_id integer GENERATED ALWAYS AS IDENTITY,
    joint_id integer NOT NULL,
    interval_days double precision NOT NULL CONSTRAINT interval_override_positive CHECK (interval_days > 0),
    until_on date NOT NULL,
    decided_by text NOT NULL,
    reason text NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, interval_override_id),
    FOREIGN KEY (site_id, joint_id) REFERENCES joint
);
CREATE INDEX interval_override_joint ON interval_override (site_id, joint_id);

CREATE TABLE score_run (
    site_id integer NOT NULL REFERENCES site,
    score_run_id integer GENERATED ALWAYS AS IDENTITY,
    policy_version integer NOT NULL,
    as_of date NOT NULL,
    inputs_until timestamptz NOT NULL DEFAULT now(),
    joints integer,
    published_at timestamptz,            -- NULL while it is being made
    PRIMARY KEY (site_id, score_run_id),
    FOREIGN KEY (site_id, policy_version) REFERENCES policy_version
);

-- One partition a run: made beside the current one by score_partition_create(), then swapped in by
-- score_partition_publish(). Only a joint's newest run has rows; older runs keep their score_run row.
-- Location and codes are repeated from the joint, so that a map window reads this table alone.
CREATE TABLE score (
    site_id integer NOT NULL,
    score_run_id integer NOT NULL,
    joint_id integer NOT NULL,
    location point NOT NULL,
    elevation_m double precision NOT NULL,
    area_id integer NOT NULL,            -- 0 where the joint lies in no area
    line_id integer NOT NULL,            -- 0 where the joint list names no line
    family_id smallint NOT NULL,
    service_id smallint NOT NULL,
    base_rate_per_year double precision NOT NULL,
    vibration_factor double precision NOT NULL,
    thermal_factor double precision NOT NULL,
    make_up_factor double precision NOT NULL,
    plant_factor double precision NOT NULL,
    defect_rate_per_year double precision NOT NULL,
    delay_rate_per_year double precision NOT NULL,
    detection_probability double precision NOT NULL,
    release_kg_s double precision NOT NULL,
    consequence_class smallint NOT NULL,
    tolerable_leaks_per_year double precision NOT NULL,
    interval_days double precision NOT NULL,
    interval_limit smallint NOT NULL,    -- 0 risk, 1 floor, 2 cap, 3 override
    beyond_checking boolean NOT NULL,
    vibration_action boolean NOT NULL,   -- at or above the 'problem' line
    assumed_inputs smallint NOT NULL,    -- bits, registry/risk/model.py
    last_satisfactory_on date NOT NULL,
    due_on date NOT NULL,
    due_reason smallint NOT NULL,        -- registry/intervals/model.py
    leak_rate_now_per_year double precision NOT NULL,
    likelihood_class smallint NOT NULL,
    risk_now double precision NOT NULL,  -- leak rate now x weight of the consequence class
    risk_rank integer NOT NULL,
    check_minutes double precision NOT NULL,
    PRIMARY KEY (site_id, score_run_id, joint_id)
) PARTITION BY LIST (score_run_id);
CREATE INDEX score_location ON score USING gist (location);
CREATE INDEX score_due ON score (site_id, score_run_id, due_on, risk_now DESC, joint_id);
CREATE INDEX score_risk ON score (site_id, score_run_id, risk_now DESC, joint_id);

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

CREATE TABLE route (
    site_id integer NOT NULL REFERENCES site,
    route_id integer GENERATED ALWAYS AS IDENTITY,
    walk_on date NOT NULL,
    crew text NOT NULL,
    area_id integer,                     -- NULL: the whole site
    start_gate text NOT NULL,
    shift_minutes double precision NOT NULL,
    walking_minutes double precision NOT NULL,
    working_minutes double precision NOT NULL,
    considered integer NOT NULL,         -- due joints that it chose from
    unreachable integer NOT NULL,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    revision integer NOT NULL DEFAULT 1,
    tools text[],                        -- kinds of tool that the crew holds; NULL: whatever it takes
    best_walking_minutes double precision,       -- of the same stops in the best order found
    PRIMARY KEY (site_id, route_id),
    FOREIGN KEY (site_id, area_id) REFERENCES area
);

CREATE TABLE route_stop (
    site_id integer NOT NULL,
    route_id integer NOT NULL,
    position integer NOT NULL,           -- 1, 2, ...; position 0 is the way back to the gate
    joint_id integer,
    walking_minutes double precision NOT NULL,   -- from the stop before
    working_minutes double precision NOT NULL,
    leg double precision[] NOT NULL,     -- east, north, elevation, east, ... of the walk from the stop before
    pinned boolean NOT NULL DEFAULT false,
    PRIMARY KEY (site_id, route_id, position),
    CONSTRAINT route_stop_joint_once UNIQUE (site_id, route_id, joint_id),
    FOREIGN KEY (site_id, route_id) REFERENCES route,
    FOREIGN KEY (site_id, joint_id) REFERENCES joint
);
ALTER TABLE check_result ADD CONSTRAINT check_result_route_exists FOREIGN KEY (site_id, route_id) REFERENCES route;

-- ---------------------------------------------------------------- recalls (recalls/)

CREATE TABLE recall (
    site_id integer NOT NULL REFERENCES site,
    recall_id integer GENERATED ALWAYS AS IDENTITY,
    kind text NOT NULL CONSTRAINT recall_kind_known CHECK (kind IN ('tool', 'person', 'lot', 'procedure')),
    subject text NOT NULL,
    from_on date,                        -- NULL: of whatever day
    until_on date,
    reason text NOT NULL,
    raised_by text NOT NULL,
    joints integer NOT NULL,
    raised_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, recall_id)
);

-- Closed is not stored: a joint's recall is closed by a satisfactory check or an accepted make-up after it was raised.
-- Its joints come from a join, as a joint's line and area do, so a foreign key would guard nothing.
CREATE TABLE recall_joint (
    site_id integer NOT NULL,
    recall_id integer NOT NULL,
    joint_id integer NOT NULL,
    raised_due_on date NOT NULL,
    PRIMARY KEY (site_id, recall_id, joint_id),
    FOREIGN KEY (site_id, recall_id) REFERENCES recall
);
CREATE INDEX recall_joint_joint ON recall_joint (site_id, joint_id);

-- ---------------------------------------------------------------- break-out and completion (completion/)

CREATE TABLE work_pack (
    site_id integer NOT NULL REFERENCES site,
    work_pack_id integer GENERATED ALWAYS AS IDENTITY,
    code text NOT NULL,
    title text NOT NULL,
    opened_by text NOT NULL,
    opened_at timestamptz NOT NULL DEFAULT now(),
    handed_back_by text,
    handed_back_at timestamptz,
    PRIMARY KEY (site_id, work_pack_id),
    CONSTRAINT work_pack_code_unique UNIQUE (site_id, code),
    CONSTRAINT work_pack_handed_back_by_somebody CHECK ((handed_back_by IS NULL) = (handed_back_at IS NULL))
);

CREATE TABLE work_pack_joint (
    site_id integer NOT NULL,
    work_pack_id integer NOT NULL,
    joint_id integer NOT NULL,
    PRIMARY KEY (site_id, work_pack_id, joint_id),
    FOREIGN KEY (site_id, work_pack_id) REFERENCES work_pack,
    FOREIGN KEY (site_id, joint_id) REFERENCES joint
);
CREATE INDEX work_pack_joint_joint ON work_pack_joint (site_id, joint_id);

-- Whether a joint is made again is read from its make-ups; what else happens to it in the pack is a step here.
CREATE TABLE work_pack_step (
    site_id integer NOT NULL,
    work_pack_step_id bigint GENERATED ALWAYS AS IDENTITY,
    work_pack_id integer NOT NULL,
    joint_id integer NOT NULL,
    step text NOT NULL CONSTRAINT work_pack_step_known CHECK (step IN ('broken', 'leak_tested')),
    passed boolean NOT NULL,
    observed_at timestamptz NOT NULL,
    done_by text NOT NULL,
    notes text,
    client_uuid uuid,
    recorded_at timestamptz NOT NULL DEFAULT now(),
    PRIMARY KEY (site_id, work_pack_step_id),
    CONSTRAINT work_pack_step_once UNIQUE (site_id, client_uuid),
    FOREIGN KEY (site_id, work_pack_id, joint_id) REFERENCES work_pack_joint
);
CREATE INDEX work_pack_step_joint ON work_pack_step (site_id, work_pack_id, joint_id);

-- ---------------------------------------------------------------- what keeps the ledgers honest

CREATE FUNCTION current_site() RETURNS integer
    LANGUAGE sql STABLE PARALLEL SAFE
    RETURN nullif(current_setting('jointwright.site_id', true), '')::integer;

-- Before a statement adds rows: one writer at a time in a site's ledger, so that numbers and hashes run in one order, and
-- the hash of the last row at hand. A row's number is drawn after this.
CREATE FUNCTION ledger_lock() RETURNS trigger
    LANGUAGE plpgsql AS $$
DECLARE
    head text;
BEGIN
    IF current_site() IS NULL THEN
        RAISE EXCEPTION 'no site is set for this transaction';
    END IF;
    IF current_setting('transaction_isolation') <> 'read committed' THEN
        RAISE EXCEPTION 'a ledger is added to under READ COMMITTED, which sees the row that was last before its turn came';
    END IF;
    -- Both are as PostgreSQL has them unless somebody changes them, and then a row would hash to something else.
    IF current_setting('extra_float_digits')::integer < 1 OR current_setting('bytea_output') <> 'hex' THEN
        RAISE EXCEPTION 'a ledger is added to with extra_float_digits at 1 or more and bytea_output at hex';
    END IF;
    PERFORM pg_advisory_xact_lock(hashtext(TG_TABLE_NAME), current_site());
    EXECUTE format('SELECT encode(hash, ''hex'') FROM %I.%I WHERE site_id = $1 ORDER BY %I DESC LIMIT 1',
                   TG_TABLE_SCHEMA, TG_TABLE_NAME, TG_TABLE_NAME || '_id')
        INTO head USING current_site();
    PERFORM set_config('jointwright.head_' || TG_TABLE_NAME, coalesce(head, repeat('0', 64)), true);
    RETURN NULL;
END $$;

-- A row's hash is that of all its values but itself, the hash of the row before among them. NULLs are left out, so that a
-- column added later changes no old hash. A row verifies when
-- hash = sha256(convert_to(jsonb_strip_nulls(to_jsonb(row) - 'hash')::text, 'UTF8')) with the time zone at UTC.
CREATE FUNCTION ledger_chain() RETURNS trigger
    LANGUAGE plpgsql SET timezone = 'UTC' AS $$
BEGIN
    IF NEW.site_id <> current_site() THEN
        RAISE EXCEPTION 'the row is of site %, the transaction of site %', NEW.site_id, current_site();
    END IF;
    NEW.previous_hash := decode(current_setting('jointwright.head_' || TG_TABLE_NAME), 'hex');
    NEW.hash := NULL;
    NEW.hash := sha256(convert_to(jsonb_strip_nulls(to_jsonb(NEW))::text, 'UTF8'));
    PERFORM set_config('jointwright.head_' || TG_TABLE_NAME, encode(NEW.hash, 'hex'), true);
    RETURN NEW;
END $$;

CREATE FUNCTION ledger_refuses_change() RETURNS trigger
    LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION '% is append-only: record a correction that supersedes the row', TG_TABLE_NAME
        USING ERRCODE = 'restrict_violation', CONSTRAINT = 'ledger_append_only';
END $$;

CREATE TRIGGER make_up_lock BEFORE INSERT ON make_up FOR EACH STATEMENT EXECUTE FUNCTION ledger_lock();
CREATE TRIGGER make_up_chain BEFORE INSERT ON make_up FOR EACH ROW EXECUTE FUNCTION ledger_chain();
CREATE TRIGGER check_result_lock BEFORE INSERT ON check_result FOR EACH STATEMENT EXECUTE FUNCTION ledger_lock();
CREATE TRIGGER check_result_chain BEFORE INSERT ON check_result FOR EACH ROW EXECUTE FUNCTION ledger_chain();
CREATE TRIGGER leak_lock BEFORE INSERT ON leak FOR EACH STATEMENT EXECUTE FUNCTION ledger_lock();
CREATE TRIGGER leak_chain BEFORE INSERT ON leak FOR EACH ROW EXECUTE FUNCTION ledger_chain();
CREATE TRIGGER leak_step_lock BEFORE INSERT ON leak_step FOR EACH STATEMENT EXECUTE FUNCTION ledger_lock();
CREATE TRIGGER leak_step_chain BEFORE INSERT ON leak_step FOR EACH ROW EXECUTE FUNCTION ledger_chain();

CREATE TRIGGER make_up_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON make_up
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER check_result_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON check_result
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER leak_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON leak
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER leak_step_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON leak_step
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER joint_change_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON joint_change
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER policy_version_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON policy_version
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER interval_override_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON interval_override
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER procedure_version_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON procedure_version
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER qualification_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON qualification
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER calibration_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON calibration
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER make_up_tool_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON make_up_tool
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER make_up_lot_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON make_up_lot
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER recall_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON recall
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER recall_joint_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON recall_joint
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER deferral_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON deferral
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();
CREATE TRIGGER work_pack_step_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON work_pack_step
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();

-- ---------------------------------------------------------------- the newest facts of each joint

-- The newest of what is added is held against what is kept, so that a bulk load reads nothing but its own rows. Only a
-- correction looks at the ledger again: for the joints that it names, and for those that its superseded rows named.
CREATE FUNCTION keep_last_make_up() RETURNS trigger
    LANGUAGE plpgsql AS $$
DECLARE
    corrected integer[];
BEGIN
    SELECT array_agg(DISTINCT j) INTO corrected
    FROM added a, make_up o, unnest(ARRAY[a.joint_id, o.joint_id]) j
    WHERE a.supersedes IS NOT NULL AND o.site_id = a.site_id AND o.make_up_id = a.supersedes;
    IF corrected IS NOT NULL THEN
        DELETE FROM joint_last_make_up WHERE site_id = current_site() AND joint_id = ANY (corrected);
    END IF;
    INSERT INTO joint_last_make_up (site_id, joint_id, make_up_id, made_up_on, accepted, witnessed)
    SELECT DISTINCT ON (n.site_id, n.joint_id)
           n.site_id, n.joint_id, n.make_up_id, n.made_up_on, n.verdict = 'accepted', n.witness IS NOT NULL
    FROM (SELECT * FROM added WHERE corrected IS NULL OR joint_id <> ALL (corrected)
          UNION ALL
          SELECT m.* FROM make_up m
          WHERE m.site_id = current_site() AND m.joint_id = ANY (corrected)
            AND NOT EXISTS (SELECT FROM make_up s WHERE s.site_id = m.site_id AND s.supersedes = m.make_up_id)) n
    ORDER BY n.site_id, n.joint_id, n.made_up_on DESC, n.make_up_id DESC
    ON CONFLICT (site_id, joint_id) DO UPDATE
    SET make_up_id = excluded.make_up_id, made_up_on = excluded.made_up_on,
        accepted = excluded.accepted, witnessed = excluded.witnessed
    WHERE (excluded.made_up_on, excluded.make_up_id) > (joint_last_make_up.made_up_on, joint_last_make_up.make_up_id);
    RETURN NULL;
END $$;

CREATE FUNCTION keep_last_check() RETURNS trigger
    LANGUAGE plpgsql AS $$
DECLARE
    corrected integer[];
BEGIN
    SELECT array_agg(DISTINCT j) INTO corrected
    FROM added a, check_result o, unnest(ARRAY[a.joint_id, o.joint_id]) j
    WHERE a.supersedes IS NOT NULL AND o.site_id = a.site_id AND o.check_result_id = a.supersedes;
    IF corrected IS NOT NULL THEN
        DELETE FROM joint_last_check WHERE site_id = current_site() AND joint_id = ANY (corrected);
    END IF;
    INSERT INTO joint_last_check (site_id, joint_id, satisfactory_at, checked_at, result)
    SELECT n.site_id, n.joint_id,
           max(n.observed_at) FILTER (WHERE n.result IN ('tight', 'retightened')),
           max(n.observed_at),
           (array_agg(n.result ORDER BY n.observed_at DESC, n.check_result_id DESC))[1]
    FROM (SELECT * FROM added WHERE corrected IS NULL OR joint_id <> ALL (corrected)
          UNION ALL
          SELECT c.* FROM check_result c
          WHERE c.site_id = current_site() AND c.joint_id = ANY (corrected)
            AND NOT EXISTS (SELECT FROM check_result s WHERE s.site_id = c.site_id AND s.supersedes = c.check_result_id)) n
    WHERE n.result <> 'not_reached'
    GROUP BY n.site_id, n.joint_id
    ON CONFLICT (site_id, joint_id) DO UPDATE
    SET satisfactory_at = greatest(joint_last_check.satisfactory_at, excluded.satisfactory_at),
        checked_at = greatest(joint_last_check.checked_at, excluded.checked_at),
        result = CASE WHEN excluded.checked_at >= joint_last_check.checked_at THEN excluded.result
                 ELSE joint_last_check.result END;
    RETURN NULL;
END $$;

CREATE FUNCTION keep_last_vibration() RETURNS trigger
    LANGUAGE plpgsql AS $$
BEGIN
    INSERT INTO joint_last_vibration (site_id, joint_id, velocity_mm_s, frequency_hz, observed_at)
    SELECT DISTINCT ON (site_id, joint_id) site_id, joint_id, velocity_mm_s, frequency_hz, observed_at
    FROM added WHERE joint_id IS NOT NULL
    ORDER BY site_id, joint_id, observed_at DESC, velocity_mm_s DESC
    ON CONFLICT (site_id, joint_id) DO UPDATE
    SET velocity_mm_s = excluded.velocity_mm_s, frequency_hz = excluded.frequency_hz,
        observed_at = excluded.observed_at
    WHERE excluded.observed_at >= joint_last_vibration.observed_at;
    RETURN NULL;
END $$;

CREATE TRIGGER make_up_keep_last AFTER INSERT ON make_up
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION keep_last_make_up();
CREATE TRIGGER check_result_keep_last AFTER INSERT ON check_result
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION keep_last_check();
CREATE TRIGGER vibration_reading_keep_last AFTER INSERT ON vibration_reading
    REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION keep_last_vibration();

-- ---------------------------------------------------------------- a run of scores, made aside and swapped in

CREATE FUNCTION score_partition_create(run integer) RETURNS text
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    partition_name text := format('score_run_%s', run);
BEGIN
    IF NOT EXISTS (SELECT FROM score_run
                   WHERE site_id = current_site() AND score_run_id = run AND published_at IS NULL) THEN
        RAISE EXCEPTION 'score run % is not open in this site', run;
    END IF;
    EXECUTE format('CREATE TABLE %I (LIKE score INCLUDING DEFAULTS)', partition_name);
    EXECUTE format('GRANT INSERT ON %I TO jointwright_app', partition_name);
    RETURN partition_name;
END $$;

-- Takes the site's older runs away. Dropping one waits for whoever is reading scores and holds up whoever comes after, so
-- it gives up soon: a run that is still being read goes when the next one is published.
CREATE FUNCTION score_partition_drop(before_run integer) RETURNS void
    LANGUAGE plpgsql SET lock_timeout = '200ms' AS $$
DECLARE
    old_run integer;
BEGIN
    FOR old_run IN SELECT score_run_id FROM score_run
                   WHERE site_id = current_site() AND score_run_id < before_run
                     AND to_regclass(format('public.score_run_%s', score_run_id)) IS NOT NULL LOOP
        BEGIN
            EXECUTE format('DROP TABLE public.score_run_%s', old_run);
        EXCEPTION WHEN lock_not_available THEN
            RETURN;
        END;
    END LOOP;
END $$;

CREATE FUNCTION score_partition_publish(run integer) RETURNS void
    LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    partition_name text := format('score_run_%s', run);
    old_run integer;
BEGIN
    IF NOT EXISTS (SELECT FROM score_run
                   WHERE site_id = current_site() AND score_run_id = run AND published_at IS NULL) THEN
        RAISE EXCEPTION 'score run % is not open in this site', run;
    END IF;
    EXECUTE format('REVOKE INSERT ON %I FROM jointwright_app', partition_name);
    EXECUTE format('ALTER TABLE %I ADD CHECK (site_id = %s AND score_run_id = %s)',
                   partition_name, current_site(), run);
    EXECUTE format('ALTER TABLE %I ADD PRIMARY KEY (site_id, score_run_id, joint_id)', partition_name);
    EXECUTE format('CREATE INDEX ON %I USING gist (location)', partition_name);
    EXECUTE format('CREATE INDEX ON %I (site_id, score_run_id, due_on, risk_now DESC, joint_id)', partition_name);
    EXECUTE format('CREATE INDEX ON %I (site_id, score_run_id, risk_now DESC, joint_id)', partition_name);
    -- The planner asks about no other column, and looking at all of them would take as long as the indexes.
    EXECUTE format('ANALYZE %I (site_id, score_run_id, joint_id, area_id, family_id, service_id, due_on, risk_now,'
                   ' consequence_class, likelihood_class, beyond_checking)', partition_name);
    EXECUTE format('ALTER TABLE score ATTACH PARTITION %I FOR VALUES IN (%s)', partition_name, run);
    UPDATE score_run SET published_at = clock_timestamp() WHERE site_id = current_site() AND score_run_id = run;
    PERFORM score_partition_drop(run);
END $$;

CREATE FUNCTION current_score_run() RETURNS integer
    LANGUAGE sql STABLE
    RETURN (SELECT max(score_run_id) FROM score_run WHERE site_id = current_site() AND published_at IS NOT NULL);

-- Row-level security lets only leakproof operators near an index, and 'point inside box' is not one; so the map's
-- window is a function of the owner's that keeps to the site itself.
CREATE FUNCTION score_window(west double precision, south double precision,
                             east double precision, north double precision) RETURNS SETOF score
    LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp ROWS 2000
BEGIN ATOMIC
    -- As subqueries the two are found once; bare, the run would be looked up again for every row of the window.
    SELECT * FROM score s
    WHERE s.site_id = (SELECT current_site()) AND s.score_run_id = (SELECT current_score_run())
      AND s.location <@ box(point(west, south), point(east, north));
END;

-- A transaction must find its site before it can be set to it.
CREATE FUNCTION site_directory() RETURNS TABLE (site_id integer, code text, name text)
    LANGUAGE sql STABLE SECURITY DEFINER SET search_path = public, pg_temp
BEGIN ATOMIC
    SELECT s.site_id, s.code, s.name FROM site s ORDER BY s.code;
END;

-- ---------------------------------------------------------------- who may do what
-- The application works under jointwright_app, which owns nothing and sees the rows of one site: the one set for the
-- transaction. Ledgers may be read and added to. Sites are made, and the schema is changed, by the owner.

GRANT USAGE ON SCHEMA public TO jointwright_app;
GRANT SELECT ON ALL TABLES IN SCHEMA public TO jointwright_app;
GRANT INSERT ON intake, area, plan_feature, policy_version, policy_draft, family, service, line, joint, joint_change,
    vibration_reading, temperature_history, make_up, check_result, leak, leak_step, joint_last_make_up,
    joint_last_check, joint_last_vibration, interval_override, score_run, plan_run, planned_check, route, route_stop,
    procedure_version, person, qualification, tool, calibration, make_up_tool, make_up_lot, recall, recall_joint,
    work_pack, work_pack_joint, work_pack_step, crew, crew_absence, outage, outage_area, plan_capacity, plan_move,
    plan_pin, deferral, plan_job TO jointwright_app;
GRANT UPDATE ON crew, outage, planned_check, plan_pin, plan_job, route, route_stop, area, policy_draft, joint, joint_last_make_up, joint_last_check, joint_last_vibration, score_run,
    score, plan_run, tool, work_pack TO jointwright_app;
GRANT DELETE ON crew_absence, outage, outage_area, plan_pin, plan_move, plan_capacity, route_stop, plan_feature, policy_draft, plan_run, planned_check, joint_last_make_up, joint_last_check
    TO jointwright_app;
GRANT USAGE ON ALL SEQUENCES IN SCHEMA public TO jointwright_app;
-- These work with the owner's rights: nobody else of the server may call them.
REVOKE EXECUTE ON FUNCTION score_partition_create, score_partition_publish, score_partition_drop, score_window,
    site_directory FROM PUBLIC;
GRANT EXECUTE ON FUNCTION score_partition_create, score_partition_publish, score_window, site_directory TO jointwright_app;

-- Every table keeps each transaction to its site.
ALTER TABLE site ENABLE ROW LEVEL SECURITY;
CREATE POLICY site_site ON site USING (site_id = (SELECT current_site()));
ALTER TABLE intake ENABLE ROW LEVEL SECURITY;
CREATE POLICY intake_site ON intake USING (site_id = (SELECT current_site()));
ALTER TABLE area ENABLE ROW LEVEL SECURITY;
CREATE POLICY area_site ON area USING (site_id = (SELECT current_site()));
ALTER TABLE plan_feature ENABLE ROW LEVEL SECURITY;
CREATE POLICY plan_feature_site ON plan_feature USING (site_id = (SELECT current_site()));
ALTER TABLE policy_version ENABLE ROW LEVEL SECURITY;
CREATE POLICY policy_version_site ON policy_version USING (site_id = (SELECT current_site()));
ALTER TABLE policy_draft ENABLE ROW LEVEL SECURITY;
CREATE POLICY policy_draft_site ON policy_draft USING (site_id = (SELECT current_site()));
ALTER TABLE family ENABLE ROW LEVEL SECURITY;
CREATE POLICY family_site ON family USING (site_id = (SELECT current_site()));
ALTER TABLE service ENABLE ROW LEVEL SECURITY;
CREATE POLICY service_site ON service USING (site_id = (SELECT current_site()));
ALTER TABLE line ENABLE ROW LEVEL SECURITY;
CREATE POLICY line_site ON line USING (site_id = (SELECT current_site()));
ALTER TABLE joint ENABLE ROW LEVEL SECURITY;
CREATE POLICY joint_site ON joint USING (site_id = (SELECT current_site()));
ALTER TABLE joint_change ENABLE ROW LEVEL SECURITY;
CREATE POLICY joint_change_site ON joint_change USING (site_id = (SELECT current_site()));
ALTER TABLE vibration_reading ENABLE ROW LEVEL SECURITY;
CREATE POLICY vibration_reading_site ON vibration_reading USING (site_id = (SELECT current_site()));
ALTER TABLE temperature_history ENABLE ROW LEVEL SECURITY;
CREATE POLICY temperature_history_site ON temperature_history USING (site_id = (SELECT current_site()));
ALTER TABLE make_up ENABLE ROW LEVEL SECURITY;
CREATE POLICY make_up_site ON make_up USING (site_id = (SELECT current_site()));
ALTER TABLE check_result ENABLE ROW LEVEL SECURITY;
CREATE POLICY check_result_site ON check_result USING (site_id = (SELECT current_site()));
ALTER TABLE leak ENABLE ROW LEVEL SECURITY;
CREATE POLICY leak_site ON leak USING (site_id = (SELECT current_site()));
ALTER TABLE leak_step ENABLE ROW LEVEL SECURITY;
CREATE POLICY leak_step_site ON leak_step USING (site_id = (SELECT current_site()));
ALTER TABLE joint_last_make_up ENABLE ROW LEVEL SECURITY;
CREATE POLICY joint_last_make_up_site ON joint_last_make_up USING (site_id = (SELECT current_site()));
ALTER TABLE joint_last_check ENABLE ROW LEVEL SECURITY;
CREATE POLICY joint_last_check_site ON joint_last_check USING (site_id = (SELECT current_site()));
ALTER TABLE joint_last_vibration ENABLE ROW LEVEL SECURITY;
CREATE POLICY joint_last_vibration_site ON joint_last_vibration USING (site_id = (SELECT current_site()));
ALTER TABLE interval_override ENABLE ROW LEVEL SECURITY;
CREATE POLICY interval_override_site ON interval_override USING (site_id = (SELECT current_site()));
ALTER TABLE score_run ENABLE ROW LEVEL SECURITY;
CREATE POLICY score_run_site ON score_run USING (site_id = (SELECT current_site()));
ALTER TABLE score ENABLE ROW LEVEL SECURITY;
CREATE POLICY score_site ON score USING (site_id = (SELECT current_site()));
ALTER TABLE plan_run ENABLE ROW LEVEL SECURITY;
CREATE POLICY plan_run_site ON plan_run USING (site_id = (SELECT current_site()));
ALTER TABLE planned_check ENABLE ROW LEVEL SECURITY;
CREATE POLICY planned_check_site ON planned_check USING (site_id = (SELECT current_site()));
ALTER TABLE route ENABLE ROW LEVEL SECURITY;
CREATE POLICY route_site ON route USING (site_id = (SELECT current_site()));
ALTER TABLE route_stop ENABLE ROW LEVEL SECURITY;
CREATE POLICY route_stop_site ON route_stop USING (site_id = (SELECT current_site()));
ALTER TABLE procedure_version ENABLE ROW LEVEL SECURITY;
CREATE POLICY procedure_version_site ON procedure_version USING (site_id = (SELECT current_site()));
ALTER TABLE person ENABLE ROW LEVEL SECURITY;
CREATE POLICY person_site ON person USING (site_id = (SELECT current_site()));
ALTER TABLE qualification ENABLE ROW LEVEL SECURITY;
CREATE POLICY qualification_site ON qualification USING (site_id = (SELECT current_site()));
ALTER TABLE tool ENABLE ROW LEVEL SECURITY;
CREATE POLICY tool_site ON tool USING (site_id = (SELECT current_site()));
ALTER TABLE calibration ENABLE ROW LEVEL SECURITY;
CREATE POLICY calibration_site ON calibration USING (site_id = (SELECT current_site()));
ALTER TABLE make_up_tool ENABLE ROW LEVEL SECURITY;
CREATE POLICY make_up_tool_site ON make_up_tool USING (site_id = (SELECT current_site()));
ALTER TABLE make_up_lot ENABLE ROW LEVEL SECURITY;
CREATE POLICY make_up_lot_site ON make_up_lot USING (site_id = (SELECT current_site()));
ALTER TABLE recall ENABLE ROW LEVEL SECURITY;
CREATE POLICY recall_site ON recall USING (site_id = (SELECT current_site()));
ALTER TABLE recall_joint ENABLE ROW LEVEL SECURITY;
CREATE POLICY recall_joint_site ON recall_joint USING (site_id = (SELECT current_site()));
ALTER TABLE work_pack ENABLE ROW LEVEL SECURITY;
CREATE POLICY work_pack_site ON work_pack USING (site_id = (SELECT current_site()));
ALTER TABLE work_pack_joint ENABLE ROW LEVEL SECURITY;
CREATE POLICY work_pack_joint_site ON work_pack_joint USING (site_id = (SELECT current_site()));
ALTER TABLE work_pack_step ENABLE ROW LEVEL SECURITY;
CREATE POLICY work_pack_step_site ON work_pack_step USING (site_id = (SELECT current_site()));
ALTER TABLE crew ENABLE ROW LEVEL SECURITY;
CREATE POLICY crew_site ON crew USING (site_id = (SELECT current_site()));
ALTER TABLE crew_absence ENABLE ROW LEVEL SECURITY;
CREATE POLICY crew_absence_site ON crew_absence USING (site_id = (SELECT current_site()));
ALTER TABLE outage ENABLE ROW LEVEL SECURITY;
CREATE POLICY outage_site ON outage USING (site_id = (SELECT current_site()));
ALTER TABLE outage_area ENABLE ROW LEVEL SECURITY;
CREATE POLICY outage_area_site ON outage_area USING (site_id = (SELECT current_site()));
ALTER TABLE plan_capacity ENABLE ROW LEVEL SECURITY;
CREATE POLICY plan_capacity_site ON plan_capacity USING (site_id = (SELECT current_site()));
ALTER TABLE plan_move ENABLE ROW LEVEL SECURITY;
CREATE POLICY plan_move_site ON plan_move USING (site_id = (SELECT current_site()));
ALTER TABLE plan_pin ENABLE ROW LEVEL SECURITY;
CREATE POLICY plan_pin_site ON plan_pin USING (site_id = (SELECT current_site()));
ALTER TABLE deferral ENABLE ROW LEVEL SECURITY;
CREATE POLICY deferral_site ON deferral USING (site_id = (SELECT current_site()));
ALTER TABLE plan_job ENABLE ROW LEVEL SECURITY;
CREATE POLICY plan_job_site ON plan_job USING (site_id = (SELECT current_site()));
