"""The real-time loop: from messages and commands to takes, passes and snapshots."""
