"""What a database holds, as its own catalogue says it: comparable between two databases."""

import psycopg

# One line a fact. Names of this database's own numbers (oids) never come into it.
FACTS = {
    "relation": """
        SELECT format('%s %s rls=%s forced=%s partition=%s owner=%s acl=%s options=%s', c.relkind, c.relname,
                      c.relrowsecurity, c.relforcerowsecurity, pg_get_partkeydef(c.oid),
                      pg_get_userbyid(c.relowner) = current_user, c.relacl, c.reloptions)
        FROM pg_class c WHERE c.relnamespace = 'public'::regnamespace AND c.relname NOT LIKE 'alembic_version%'""",
    "column": """
        SELECT format('%s.%s %s %s notnull=%s default=%s identity=%s collation=%s acl=%s', c.relname, a.attname,
                      a.attnum, format_type(a.atttypid, a.atttypmod), a.attnotnull, pg_get_expr(d.adbin, d.adrelid),
                      a.attidentity,
                      (SELECT collname FROM pg_collation WHERE oid = a.attcollation), a.attacl)
        FROM pg_attribute a JOIN pg_class c ON c.oid = a.attrelid
        LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p', 'v') AND a.attnum > 0
          AND NOT a.attisdropped AND c.relname <> 'alembic_version'""",
    "constraint": """
        SELECT format('%s %s %s validated=%s', conrelid::regclass, conname, pg_get_constraintdef(oid), convalidated)
        FROM pg_constraint
        WHERE connamespace = 'public'::regnamespace AND conrelid::regclass::text <> 'alembic_version'""",
    "index": """
        SELECT indexdef FROM pg_indexes WHERE schemaname = 'public' AND tablename <> 'alembic_version'""",
    "function": """
        SELECT format('%s %s acl=%s owner=%s', oid::regprocedure, pg_get_functiondef(oid), proacl,
                      pg_get_userbyid(proowner) = current_user)
        FROM pg_proc WHERE pronamespace = 'public'::regnamespace""",
    "trigger": "SELECT format('%s %s', pg_get_triggerdef(oid), tgenabled) FROM pg_trigger WHERE NOT tgisinternal",
    "policy": "SELECT format('%s', p) FROM pg_policies p WHERE schemaname = 'public'",
    "statistics": """
        SELECT pg_get_statisticsobjdef(oid) FROM pg_statistic_ext WHERE stxnamespace = 'public'::regnamespace""",
    "comment": "SELECT format('%s %s', classoid::regclass, description) FROM pg_description d WHERE objoid >= 16384",
    "type": """
        SELECT format('%s %s', typname, typtype) FROM pg_type
        WHERE typnamespace = 'public'::regnamespace AND typtype IN ('d', 'e', 'r')""",
    "schema": "SELECT format('%s %s', nspname, nspacl) FROM pg_namespace WHERE nspname = 'public'",
    "default privileges": "SELECT format('%s', d.defaclacl) FROM pg_default_acl d",
}  # fmt: skip


def catalogue_of(url: str) -> list[str]:
    """Every fact of the public schema in order, but what the migrations' own bookkeeping adds."""
    with psycopg.connect(url) as connection:
        return sorted(
            f"{kind}: {fact}" for kind, query in FACTS.items() for (fact,) in connection.execute(query.encode())
        )
