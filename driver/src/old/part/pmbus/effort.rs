use super::Pmbus;
use super::command::Side;
use super::declaration::{Device, Expect, PageSpec};
use crate::old::Task;
use crate::old::alert::Kind;
use crate::old::exchange::Effort;

/// The most that a task can cost, whatever the device answers: the phases of `steps`, added up.
pub(super) fn effort<D: Device, const N: usize>(task: Task) -> Effort {
    let of = Costs::<D, N>::NEW;
    match task {
        Task::Init => of
            .device()
            .then(of.reading())
            .then(of.mark())
            .then(of.mask())
            .then(of.pages(Costs::learn))
            .then(of.pages(Costs::masks))
            .then(of.reading())
            .then(of.mark())
            .then(of.sample()),
        Task::Attach => of.device().then(of.pages(Costs::learn)).then(of.sample()),
        Task::Latch => of.sample(),
        Task::Configure => of.sample().then(of.mark()),
        Task::Arm => of
            .reading()
            .then(of.mark())
            .then(of.pages(Costs::quiet))
            .then(of.sample())
            .then(of.pages(Costs::arm))
            .then(of.reading())
            .then(of.mark()),
        Task::Look => of.pages(Costs::causes),
        Task::Service => of
            .pages(Costs::causes)
            .times(u32::from(Task::LOOKS))
            .then(of.sample()),
        Task::Fetch => Effort::NONE,
    }
}

struct Costs<D, const N: usize>(core::marker::PhantomData<D>);

impl<D: Device, const N: usize> Costs<D, N> {
    const NEW: Self = Self(core::marker::PhantomData);

    fn write(&self, width: u32) -> Effort {
        Effort::write(width, D::DECLARATION.checked)
    }

    fn read(&self, len: u32) -> Effort {
        Effort::read(len, D::DECLARATION.checked)
    }

    fn ask(&self, written: u32, len: u32) -> Effort {
        Effort::ask(written, len, D::DECLARATION.checked)
    }

    /// Every page, its selection included.
    fn pages(&self, of: impl Fn(&Self, &PageSpec) -> Effort) -> Effort {
        let select = if D::DECLARATION.paged {
            self.write(1).then(self.read(1).times(2))
        } else {
            Effort::NONE
        };
        let pages = D::DECLARATION.pages.iter();
        pages.fold(Effort::NONE, |sum, page| {
            sum.then(select).then(of(self, page))
        })
    }

    /// STATUS_CML read and cleared.
    fn cml(&self) -> Effort {
        self.read(1).then(self.write(1))
    }

    fn device(&self) -> Effort {
        // CAPABILITY without a check byte, PMBUS_REVISION, QUERY.
        Effort::read(1, false)
            .then(self.read(1))
            .then(self.ask(2, 2).times(2))
            .then(self.cml())
    }

    fn mask(&self) -> Effort {
        if Pmbus::<D, N>::alerts() {
            self.write(2).then(self.ask(2, 2))
        } else {
            Effort::NONE
        }
    }

    fn masks(&self, page: &PageSpec) -> Effort {
        self.mask().times(page.side.registers().len() as u32) // two at most
    }

    /// Trying costs more than QUERY, in everything.
    fn has(&self, len: u32) -> Effort {
        self.ask(0, len).times(2).then(self.cml())
    }

    fn coefficients(&self) -> Effort {
        self.ask(3, 6).times(2).then(self.cml().times(2))
    }

    fn learn(&self, page: &PageSpec) -> Effort {
        let format = |expect| match expect {
            Expect::Ask => self.has(2).then(self.coefficients()),
            Expect::Is(_) => self.has(2),
        };
        let mode = match (page.voltage, page.side) {
            (Expect::Ask, Side::Output) => self.has(1).then(self.read(1)),
            _ => Effort::NONE,
        };
        let energy = match page.energy {
            Some(energy) if energy.coefficients.is_none() => self.has(7).then(self.coefficients()),
            Some(_) => self.has(7),
            None => Effort::NONE,
        };
        mode.then(format(page.voltage))
            .then(format(page.current))
            .then(format(page.power))
            .then(energy)
            .then(self.has(2).times(self.kinds(page)))
    }

    /// How many kinds of limits the page may have.
    fn kinds(&self, page: &PageSpec) -> u32 {
        let left = D::DECLARATION.spec.alerts.kinds;
        let has = |kind: &&Kind| left.contains(kind) && page.side.comparator(**kind).is_some();
        Kind::ALL.iter().filter(has).count() as u32 // four at most
    }

    /// A limit that has to be put a second time.
    fn limit(&self) -> Effort {
        self.write(2).then(self.read(2)).times(2)
    }

    fn causes(&self, page: &PageSpec) -> Effort {
        let page_again = if D::DECLARATION.paged {
            self.read(1)
        } else {
            Effort::NONE
        };
        // As costly as STATUS_CML, but for the page.
        let register = self.cml().then(page_again);
        register.times(page.side.registers().len() as u32)
    }

    fn quiet(&self, page: &PageSpec) -> Effort {
        self.arm(page).then(self.causes(page))
    }

    fn arm(&self, page: &PageSpec) -> Effort {
        self.masks(page).then(self.limit().times(self.kinds(page)))
    }

    fn mark(&self) -> Effort {
        match D::DECLARATION.mark {
            Some(_) => Effort::put(5, D::DECLARATION.checked),
            None => Effort::NONE,
        }
    }

    /// The mark is read.
    fn reading(&self) -> Effort {
        D::DECLARATION.mark.map_or(Effort::NONE, |_| self.read(5))
    }

    fn sample(&self) -> Effort {
        // Where there are no pages, a write takes the time all the same.
        let stamp = if D::DECLARATION.paged {
            self.write(1)
        } else {
            self.write(1).times(2)
        };
        let energy = |page: &PageSpec| page.energy.map_or(Effort::NONE, |_| self.read(7));
        self.pages(|of, page| of.read(2).times(3).then(energy(page)))
            .then(stamp)
            .then(self.reading())
    }
}
