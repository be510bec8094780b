"""From results to what people read: documents, charts, and the writers that put them on a page or on paper."""
