"""The nouns: frozen, without input or output. What they do is a verb's business."""
