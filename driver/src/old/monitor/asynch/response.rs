use embedded_hal::i2c::{Error, ErrorKind};
use embedded_hal_async::i2c::I2c;

use crate::old::alert::{ALERT_RESPONSE, Answer};

/// The async twin of [`alert_response`](crate::old::alert::alert_response), with its errors.
///
/// # Errors
/// A bus error other than a missing acknowledgement; ask again.
pub async fn alert_response<I2C: I2c>(bus: &mut I2C) -> Result<Answer, I2C::Error> {
    let mut bytes = [0; 2];
    match bus.read(ALERT_RESPONSE, &mut bytes).await {
        Ok(()) => Ok(Answer::judge(bytes)),
        Err(error) if matches!(error.kind(), ErrorKind::NoAcknowledge(_)) => Ok(Answer::Nobody),
        Err(error) => Err(error),
    }
}
