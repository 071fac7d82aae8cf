//! How types of the interface are declared: what C sees stands once, beside what it is made of.

/// Structures as C lays them out. Behind `of` stand the things of the driver that one is made of by
/// the function of that name, and behind each field what it then holds. The program in `header/`
/// reads the same words.
macro_rules! types {
    ($(
        $(#[$doc:meta])*
        struct $Type:ident $(of ($($from:ident: $From:ty),*))? {
            $($(#[$about:meta])* $field:ident: $Field:ty $(= $value:expr)?,)*
        }
    )*) => {$(
        $(#[$doc])*
        #[repr(C)]
        pub struct $Type {
            $($(#[$about])* pub $field: $Field,)*
        }
        $crate::types::made!($Type $(($($from: $From),*))? $($field $(= $value)?,)*);
    )*};
}

macro_rules! made {
    ($Type:ident ($($from:ident: $From:ty),*) $($field:ident = $value:expr,)*) => {
        impl $Type {
            pub(crate) fn of($($from: $From),*) -> Self {
                Self { $($field: $value,)* }
            }
        }
    };
    ($Type:ident $($field:ident,)*) => {};
}

/// One of ours for each of the driver's by the same name, and what stands behind `;` for others.
macro_rules! mirrored {
    ($From:ty => $To:ty: $($Variant:ident),* $(; $other:pat => $what:expr)?) => {
        impl From<$From> for $To {
            fn from(from: $From) -> Self {
                match from {
                    $(<$From>::$Variant => Self::$Variant,)*
                    $($other => $what,)?
                }
            }
        }
    };
}

pub(crate) use {made, mirrored, types};
