"""What makes a record checkable by others: trees of hashes, canonical JSON, signatures."""
