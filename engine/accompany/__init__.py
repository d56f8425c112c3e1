"""What a partner at the second piano works out: where clicks fall, where the other hand belongs."""
