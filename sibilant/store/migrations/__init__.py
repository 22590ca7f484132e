"""Migrations of the caseload, run by Alembic without a settings file."""
