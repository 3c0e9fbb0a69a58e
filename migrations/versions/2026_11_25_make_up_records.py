"""People, tools and procedures, what a make-up record holds beyond its verdict, recalls, break-out and completion."""

from alembic import op

revision = "2026_11_25_make_up_records"
down_revision = "2026_11_25_first_schema"

SCHEMA = r"""
ALTER TABLE intake DROP CONSTRAINT intake_kind_known, ADD CONSTRAINT intake_kind_known
    CHECK (kind IN ('plot_plan', 'joints', 'vibration', 'temperatures', 'checks', 'leaks', 'make_ups', 'demo', 'people',
               'tools', 'calibrations'));

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

-- What a record from before these columns did not hold stays NULL, so that its hash stands.
ALTER TABLE make_up
    ADD COLUMN kind text CONSTRAINT make_up_kind_known CHECK (kind IN ('first', 're-make')),
    ADD COLUMN procedure_code text,
    ADD COLUMN procedure_version integer,
    ADD COLUMN torque_n_m double precision CONSTRAINT make_up_torque_positive CHECK (torque_n_m > 0),
    ADD COLUMN turns double precision CONSTRAINT make_up_turns_not_negative CHECK (turns >= 0),
    ADD COLUMN answers jsonb,  -- by the key of the step: yes or no, a reading, a serial, a lot
    ADD COLUMN reasons jsonb,  -- [{"kind", "code", "text"}, ...]; NULL where no rule was ever held against it
    ADD COLUMN judged text CONSTRAINT make_up_judged_known CHECK (judged IN ('at make-up', 'in retrospect')),
    ADD COLUMN photos text[],  -- where they are kept
    ADD CONSTRAINT make_up_procedure_exists
        FOREIGN KEY (site_id, procedure_code, procedure_version) REFERENCES procedure_version;
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
CREATE TRIGGER work_pack_step_refuses_change BEFORE UPDATE OR DELETE OR TRUNCATE ON work_pack_step
    FOR EACH STATEMENT EXECUTE FUNCTION ledger_refuses_change();

GRANT SELECT, INSERT ON procedure_version, person, qualification, tool, calibration, make_up_tool, make_up_lot, recall,
    recall_joint, work_pack, work_pack_joint, work_pack_step TO jointwright_app;
GRANT UPDATE ON tool, work_pack TO jointwright_app;
GRANT USAGE ON SEQUENCE person_person_id_seq, qualification_qualification_id_seq, tool_tool_id_seq,
    calibration_calibration_id_seq, recall_recall_id_seq, work_pack_work_pack_id_seq,
    work_pack_step_work_pack_step_id_seq TO jointwright_app;

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
"""


def upgrade() -> None:
    op.execute(SCHEMA)


def downgrade() -> None:
    op.execute(
        "DROP TABLE work_pack_step, work_pack_joint, work_pack, recall_joint, recall, make_up_lot, make_up_tool, calibration,"
        " tool, qualification, person"
    )
    op.execute("""
ALTER TABLE make_up DROP COLUMN kind, DROP COLUMN procedure_code, DROP COLUMN procedure_version, DROP COLUMN torque_n_m,
    DROP COLUMN turns, DROP COLUMN answers, DROP COLUMN reasons, DROP COLUMN judged, DROP COLUMN photos;
DROP TABLE procedure_version;
DELETE FROM intake WHERE kind IN ('people', 'tools', 'calibrations');
ALTER TABLE intake DROP CONSTRAINT intake_kind_known, ADD CONSTRAINT intake_kind_known
    CHECK (kind IN ('plot_plan', 'joints', 'vibration', 'temperatures', 'checks', 'leaks', 'make_ups', 'demo'));
""")
