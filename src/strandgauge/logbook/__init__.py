"""The logbook: clients by alias, their visits, strands and checks, in one SQLite file on this computer."""
