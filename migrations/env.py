"""Runs the migrations, one process at a time, giving up rather than holding up the plant when a lock is taken."""

from alembic import context
from sqlalchemy import create_engine, pool, text

url = context.config.get_main_option("sqlalchemy.url")
if url is None:
    raise SystemExit("no database URL: migrations are run by `jointwright serve --migrate` or registry.migration.migrate()")

engine = create_engine(url.replace("postgresql://", "postgresql+psycopg://", 1), poolclass=pool.NullPool)
with engine.connect() as connection:
    connection.execute(text("SELECT pg_advisory_lock(hashtext('jointwright migrations'))"))
    connection.execute(text("SET lock_timeout = '10s'"))
    connection.execute(text("SET statement_timeout = '15min'"))
    connection.commit()
    context.configure(connection=connection, transaction_per_migration=True)
    with context.begin_transaction():
        context.run_migrations()
    connection.commit()
engine.dispose()
