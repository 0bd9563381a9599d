"""Alarms in the terms of IEC 62682 / ISA-18.2: fact, human act and derived state are apart."""
