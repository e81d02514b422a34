"""The outside of presolder: rig files, audio files, folders and the command line."""
