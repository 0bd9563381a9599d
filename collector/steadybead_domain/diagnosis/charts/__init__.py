"""Control charts by their published definitions, for summaries and never for raw samples."""
