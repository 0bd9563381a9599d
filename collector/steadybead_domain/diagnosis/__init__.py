"""Diagnosis: pure, columnar, the same findings however the readings are cut into batches."""
