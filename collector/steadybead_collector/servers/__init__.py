"""What a set-up of several servers needs before its first start: keys, passwords, rights."""
