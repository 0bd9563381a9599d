"""Telling people of alarms: what was decided stands in the records, couriers deliver it."""
