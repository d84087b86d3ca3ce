//! What results show about reliability.
