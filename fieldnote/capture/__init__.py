"""Sound from files and microphones, cut into utterances."""
