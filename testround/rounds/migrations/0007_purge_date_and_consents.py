import django.db.models.deletion
import django.utils.timezone
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("rounds", "0006_a_call_for_testers")]

    operations = [
        migrations.CreateModel(
            name="Consent",
            fields=[
                (
                    "id",
                    models.BigAutoField(
                        auto_created=True, primary_key=True, serialize=False, verbose_name="ID"
                    ),
                ),
                (
                    "kind",
                    models.CharField(
                        choices=[
                            ("seen", "see my photos"),
                            ("pattern", "show my photos in the published pattern"),
                            ("online", "show my photos online, where the design is shown"),
                            ("face", "show photos with my face in the picture"),
                            ("name", "put my name beside my photos"),
                            (
                                "standing",
                                "let other testers and onlookers see my name where they see how the round stands",
                            ),
                        ],
                        max_length=10,
                    ),
                ),
                ("given_at", models.DateTimeField(default=django.utils.timezone.now)),
                ("withdrawn_at", models.DateTimeField(blank=True, null=True)),
                (
                    "place",
                    models.ForeignKey(
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="consents",
                        to="rounds.place",
                    ),
                ),
            ],
            options={"ordering": ["pk"]},
        ),
        migrations.AddConstraint(
            model_name="consent",
            constraint=models.UniqueConstraint(
                condition=models.Q(("withdrawn_at__isnull", True)),
                fields=("place", "kind"),
                name="consent_stands_once",
            ),
        ),
        migrations.AddField(
            model_name="place",
            name="forgotten_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="round",
            name="purge_on",
            field=models.DateField(
                blank=True,
                help_text="From this day on measurements, photos, words and offers are deleted.",
                null=True,
            ),
        ),
        migrations.AddField(
            model_name="round",
            name="purged_at",
            field=models.DateTimeField(blank=True, null=True),
        ),
        migrations.AddField(
            model_name="round",
            name="shows_standing",
            field=models.BooleanField(
                default=False,
                help_text="Testers may see how the round stands, without anyone's measurements.",
            ),
        ),
    ]
