"""Reading journals back: tables, replay, study, reports and export."""
