"""Run plans as tables, for people who keep them in a spreadsheet: to tables and back, nothing lost."""
