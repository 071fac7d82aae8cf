//! Devices other than Gallinule, and descriptions that are none.

use crake_sim::{
    bench::{Bench, BenchError},
    part::pmbus::{
        Coefficients, Count, Description, DescriptionError, Device, Exponent, Format, Page,
        Quantity, Refusal, Side,
    },
};

use embedded_hal::i2c::I2c;

use crate::pmbus::{
    common::sheet::number,
    desk::{ADDRESS, Desk},
    document::table,
};

fn refused(change: impl FnOnce(&mut Description)) -> DescriptionError {
    let mut description = Description::gallinule();
    change(&mut description);
    Device::ideal(description, ADDRESS).expect_err("not sound")
}

#[test]
fn descriptions_that_the_standard_does_not_allow_are_refused() {
    let linear = Format::Linear11(Exponent::From(-8));
    let unsigned = Format::Ulinear16 { exponent: -9 };
    let flat = Format::Direct(Coefficients { m: 0, b: 1, r: 0 });
    assert_eq!(refused(|it| it.pages.clear()), DescriptionError::Pages(0));
    assert_eq!(
        refused(|it| it.pages = vec![it.pages[0].clone(); 33]),
        DescriptionError::Pages(33)
    );
    assert_eq!(
        refused(|it| it.sample_period_ns = 3_999),
        DescriptionError::SamplePeriod(3_999)
    );
    // A day, and a nanosecond more.
    let day_ns = 86_400_000_000_000;
    assert_eq!(
        refused(|it| it.sample_period_ns = day_ns + 1),
        DescriptionError::SamplePeriod(day_ns + 1)
    );
    let of_a_day = Description {
        sample_period_ns: day_ns,
        ..Description::gallinule()
    };
    assert!(Device::ideal(of_a_day, ADDRESS).is_ok());
    assert_eq!(
        refused(|it| it.identity[1] = ""),
        DescriptionError::Identity("")
    );
    // A block has 32 bytes at the most (SMBus 3.1, 6.5.7).
    const LONG: &str = "a name of thirty-three characters";
    assert_eq!(
        refused(|it| it.identity[1] = LONG),
        DescriptionError::Identity(LONG)
    );
    assert_eq!(
        refused(|it| it.pages[0].voltage.format = linear),
        DescriptionError::Format(0)
    );
    assert_eq!(
        refused(|it| it.pages[3].voltage.format = unsigned),
        DescriptionError::Format(3)
    );
    assert_eq!(
        refused(|it| it.pages[1].current.format = unsigned),
        DescriptionError::Format(1)
    );
    assert_eq!(
        refused(|it| it.pages[2].power = Some(flat)),
        DescriptionError::Format(2)
    );
    assert_eq!(
        refused(|it| it.pages[0].voltage.format = Format::Ulinear16 { exponent: 16 }),
        DescriptionError::Format(0)
    );
    let count = Count {
        coefficients: Coefficients { m: 1, b: 0, r: 0 },
        period: 32_766,
    };
    assert_eq!(
        refused(|it| it.pages[0].energy = Some(count)),
        DescriptionError::Format(0)
    );
    assert_eq!(
        DescriptionError::Pages(33).to_string(),
        "33 pages: must be 1 to 32"
    );
}

#[test]
fn at_each_strap_of_the_document_a_device_answers_and_all_live_on_one_bus() {
    let bench = Bench::new(0);
    let addresses: Vec<u8> = table("| strap | 7-bit address |")
        .iter()
        .map(|row| number(row[1]) as u8)
        .collect();
    for &address in &addresses {
        let order = Device::new(Description::gallinule(), address).expect("sound");
        bench.part(order).expect("free");
    }
    for &address in &addresses {
        let mut revision = [0];
        bench
            .i2c()
            .write_read(address, &[0x98], &mut revision)
            .expect("an answer");
        assert_eq!(revision, [0x22]);
    }
    assert_eq!(addresses.len(), 4);
}

// A1.5, the part of it that was read.
#[test]
fn reserved_addresses_are_refused() {
    for address in 0..=0xFF {
        let order = Device::new(Description::gallinule(), address);
        let reserved = matches!(address, 0x00..=0x08 | 0x0C | 0x61 | 0x78..=0xFF);
        assert_eq!(order.is_err(), reserved, "{address:#04x}");
    }
    let bench = Bench::new(0);
    let order = Device::new(Description::gallinule(), ADDRESS).expect("sound");
    bench.part(order.clone()).expect("free");
    assert_eq!(
        bench.part(order).expect_err("taken"),
        BenchError::AddressTaken(ADDRESS)
    );
}

#[test]
fn a_device_of_32_pages_samples_them_all_in_one_period() {
    let page = Page {
        side: Side::Output,
        voltage: quantity(
            Format::Direct(Coefficients {
                m: -100,
                b: 7,
                r: 1,
            }),
            30.0,
        ),
        current: quantity(Format::Linear11(Exponent::Fixed(-3)), 10.0),
        power: None,
        energy: None,
        refusal: Refusal::Taken,
    };
    let desk = Desk::of(Description {
        pages: vec![page; 32],
        sample_period_ns: 32_000_000,
        ..Description::gallinule()
    });
    for page in 0..32 {
        desk.rail(page, page as f64, 1.0);
    }
    desk.bench.run_until(32_000_000);
    assert_eq!(desk.part.conversions(), 32);
    for page in 0..32 {
        desk.select(page);
        // (-100 × volts + 7) × 10
        let expected = 70 - 1_000 * i16::from(page.min(30));
        assert_eq!(desk.word(0x8B) as i16, expected, "page {page}");
        assert_eq!(desk.byte(0x20), 0x40);
        // A falling slope: the greatest value is the least word.
        assert_eq!((desk.word(0x42), desk.word(0x43)), (0x8000, 0x7FFF));
    }
    assert_eq!(desk.raw_write(&[0x00, 32]), [true, true, false]);
    // Over is over in volts: 20 V passes a limit of 19.99 V, -19920, and not one of 20 V.
    desk.select(20);
    desk.write_word(0x42, -19_930_i16 as u16);
    desk.bench.run_until(96_000_000);
    assert_eq!(desk.byte(0x7A), 0);
    desk.write_word(0x42, -19_929_i16 as u16);
    desk.bench.run_until(160_000_000);
    assert_eq!(desk.byte(0x7A), 0x40);
}

fn quantity(format: Format, greatest: f64) -> Quantity {
    Quantity {
        format,
        least: -greatest,
        greatest,
        gain_limit: 0.0,
        offset_limit: 0.0,
    }
}
