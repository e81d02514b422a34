"""What is listened to: sweeps, held positions, packs and their page."""
