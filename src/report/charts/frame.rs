//! Axes, captions and marks that the larger charts share.
